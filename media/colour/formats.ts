/** Pixel formats as bytes: where in a raw frame the samples of each component lie, by ffmpeg's names (rawvideo, lines without padding). */

export const components = ['y', 'cb', 'cr', 'r', 'g', 'b'] as const;
export type Component = (typeof components)[number];

/** How one component lies in a frame. */
export interface Samples {
  /** Address of the first sample, bytes. */
  readonly first: number;
  /** From a sample to the next of its line, and from a line to the next, bytes. */
  readonly step: number;
  readonly line: number;
  /** Of this component's plane. */
  readonly width: number;
  readonly height: number;
  readonly coding: 'u8' | 'u16le' | 'u16be' | 'f32le' | 'f32be';
  /** Bits below the value in its 16, which carry nothing. */
  readonly shift: number;
}

export interface Layout {
  readonly kind: 'yuv' | 'rgb' | 'gray';
  /** Of a code; 32 for floating point, which needs no scale. */
  readonly bits: number;
  /** Luma samples for one of chroma; 1 where nothing is subsampled. */
  readonly across: 1 | 2;
  readonly down: 1 | 2;
  /** Of one frame. */
  readonly bytes: number;
  /** y, cb, cr of a yuv format; r, g, b of an rgb one; y of a grey one. Alpha is left out. */
  readonly samples: readonly Samples[];
}

/** A plane, or several components side by side in one. */
interface Plane {
  readonly across: 1 | 2;
  readonly down: 1 | 2;
  /** In the order in which they lie; null: something that is not used (alpha, padding). A component may come twice (Y of 4:2:2 in one plane). */
  readonly order: readonly (Component | null)[];
}

interface Description {
  readonly kind: Layout['kind'];
  readonly bits: number;
  readonly shift: number;
  readonly coding: Samples['coding'];
  readonly across: 1 | 2;
  readonly down: 1 | 2;
  readonly planes: readonly Plane[];
}

const one = (...order: readonly (Component | null)[]): Plane => ({ across: 1, down: 1, order });

const SUBSAMPLING: Readonly<Record<string, readonly [1 | 2, 1 | 2]>> = {
  '420': [2, 2],
  '422': [2, 1],
  '440': [1, 2],
  '444': [1, 1],
};

function codingOf(bits: number, end: string | undefined): Samples['coding'] {
  if (bits === 8) return 'u8';
  return end === 'be' ? 'u16be' : 'u16le';
}

/** Depths that ffmpeg has; a name with another one is none of its formats. */
const DEPTHS = [8, 9, 10, 12, 14, 16];

/** `rgba` and the like: one letter a sample, 0 and a for what is not used. */
const letters = (text: string): (Component | null)[] =>
  [...text].map((letter) => (letter === 'r' || letter === 'g' || letter === 'b' ? letter : null));

function describe(name: string): Description | null {
  let parts = /^yuv([aj]?)(420|422|440|444)p(\d+)?(le|be)?$/.exec(name);
  if (parts !== null) {
    const [, alpha, layout = '', depth = '8', end] = parts;
    const [across, down] = SUBSAMPLING[layout] as readonly [1 | 2, 1 | 2];
    if (!DEPTHS.includes(Number(depth)) || Number(depth) > 8 !== (end !== undefined)) return null;
    const planes: Plane[] = [one('y'), { across, down, order: ['cb'] }, { across, down, order: ['cr'] }];
    return {
      kind: 'yuv',
      bits: Number(depth),
      shift: 0,
      coding: codingOf(Number(depth), end),
      across,
      down,
      planes: alpha === 'a' ? [...planes, one(null)] : planes,
    };
  }
  parts = /^gbr(a?)p(\d+)?(le|be)?$/.exec(name);
  if (parts !== null) {
    const [, alpha, depth = '8', end] = parts;
    if (!DEPTHS.includes(Number(depth)) || Number(depth) > 8 !== (end !== undefined)) return null;
    const planes = [one('g'), one('b'), one('r')];
    return {
      kind: 'rgb',
      bits: Number(depth),
      shift: 0,
      coding: codingOf(Number(depth), end),
      across: 1,
      down: 1,
      planes: alpha === 'a' ? [...planes, one(null)] : planes,
    };
  }
  parts = /^gbr(a?)pf32(le|be)$/.exec(name);
  if (parts !== null) {
    const planes = [one('g'), one('b'), one('r')];
    return {
      kind: 'rgb',
      bits: 32,
      shift: 0,
      coding: parts[2] === 'be' ? 'f32be' : 'f32le',
      across: 1,
      down: 1,
      planes: parts[1] === 'a' ? [...planes, one(null)] : planes,
    };
  }
  if (/^(?:rgb24|bgr24|rgba|bgra|argb|abgr|rgb0|bgr0|0rgb|0bgr)$/.test(name))
    return {
      kind: 'rgb',
      bits: 8,
      shift: 0,
      coding: 'u8',
      across: 1,
      down: 1,
      planes: [one(...letters(name.replace('24', '')))],
    };
  parts = /^(rgb|bgr|rgba|bgra)(48|64)(le|be)$/.exec(name);
  if (parts !== null && (parts[1]?.length === 4) === (parts[2] === '64'))
    return {
      kind: 'rgb',
      bits: 16,
      shift: 0,
      coding: codingOf(16, parts[3]),
      across: 1,
      down: 1,
      planes: [one(...letters(parts[1] as string))],
    };
  parts = /^rgb(a?)f32(le|be)$/.exec(name);
  if (parts !== null)
    return {
      kind: 'rgb',
      bits: 32,
      shift: 0,
      coding: parts[2] === 'be' ? 'f32be' : 'f32le',
      across: 1,
      down: 1,
      planes: [one(...letters(`rgb${parts[1]}`))],
    };
  parts = /^(gray|ya)(8|9|10|12|14|16)?(le|be)?$/.exec(name);
  if (parts !== null) {
    const bits = Number(parts[2] ?? 8);
    if (bits > 8 !== (parts[3] !== undefined)) return null;
    return {
      kind: 'gray',
      bits,
      shift: 0,
      coding: codingOf(bits, parts[3]),
      across: 1,
      down: 1,
      planes: [parts[1] === 'ya' ? one('y', null) : one('y')],
    };
  }
  parts = /^grayf32(le|be)$/.exec(name);
  if (parts !== null)
    return {
      kind: 'gray',
      bits: 32,
      shift: 0,
      coding: parts[1] === 'be' ? 'f32be' : 'f32le',
      across: 1,
      down: 1,
      planes: [one('y')],
    };
  const semi: Readonly<Record<string, string>> = { nv12: '420', nv16: '422', nv24: '444' };
  if (semi[name] !== undefined) {
    const [across, down] = SUBSAMPLING[semi[name]] as readonly [1 | 2, 1 | 2];
    return {
      kind: 'yuv',
      bits: 8,
      shift: 0,
      coding: 'u8',
      across,
      down,
      planes: [one('y'), { across, down, order: ['cb', 'cr'] }],
    };
  }
  parts = /^p([024])(10|12|16)(le|be)$/.exec(name);
  if (parts !== null) {
    const [across, down] = SUBSAMPLING[
      { 0: '420', 2: '422', 4: '444' }[parts[1] as '0' | '2' | '4']
    ] as readonly [1 | 2, 1 | 2];
    // The value lies in the upper bits.
    return {
      kind: 'yuv',
      bits: Number(parts[2]),
      shift: 16 - Number(parts[2]),
      coding: codingOf(16, parts[3]),
      across,
      down,
      planes: [one('y'), { across, down, order: ['cb', 'cr'] }],
    };
  }
  if (name === 'yuyv422' || name === 'uyvy422')
    return {
      kind: 'yuv',
      bits: 8,
      shift: 0,
      coding: 'u8',
      across: 2,
      down: 1,
      planes: [
        { across: 2, down: 1, order: name === 'yuyv422' ? ['y', 'cb', 'y', 'cr'] : ['cb', 'y', 'cr', 'y'] },
      ],
    };
  return null;
}

/** Whether frames of that pixel format can be read here. */
export const isPictureFormat = (pixelFormat: string): boolean => describe(pixelFormat) !== null;

const BYTES = { u8: 1, u16le: 2, u16be: 2, f32le: 4, f32be: 4 } as const;
const ORDER: Readonly<Record<Layout['kind'], readonly Component[]>> = {
  yuv: ['y', 'cb', 'cr'],
  rgb: ['r', 'g', 'b'],
  gray: ['y'],
};

/** Of frames of that many pixels, both sides 1 or more. Throws RangeError for a format that is not read here. */
export function layoutOf(pixelFormat: string, width: number, height: number): Layout {
  const description = describe(pixelFormat);
  if (description === null) throw new RangeError(`frames of the pixel format ${pixelFormat} are not read`);
  const { kind, bits, shift, coding, across, down } = description;
  const bytes = BYTES[coding];
  const found = new Map<Component, Samples>();
  let at = 0;
  for (const plane of description.planes) {
    const [groups, lines] = [Math.ceil(width / plane.across), Math.ceil(height / plane.down)];
    const line = groups * plane.order.length * bytes;
    for (const component of new Set(plane.order)) {
      if (component === null) continue;
      const first = plane.order.indexOf(component);
      const times = plane.order.filter((other) => other === component).length;
      found.set(component, {
        first: at + first * bytes,
        step: (plane.order.length / times) * bytes,
        line,
        width: times > 1 ? width : groups,
        height: lines,
        coding,
        shift,
      });
    }
    at += line * lines;
  }
  return {
    kind,
    bits,
    across,
    down,
    bytes: at,
    samples: ORDER[kind].map((component) => found.get(component) as Samples),
  };
}
