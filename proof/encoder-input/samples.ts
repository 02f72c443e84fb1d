/** Samples of raw pictures, by ffmpeg's names of their pixels: which planes there are, and where a component lies in them. */
import { endianness } from 'node:os';
import { bitDepthOf } from '../../media/probe/picture.ts';
import { isGray, isPlanarYuv, isRgb } from '../../media/pixel-format.ts';

/** One kind of sample: where it lies in its plane. */
interface Component {
  readonly plane: number;
  /** Bytes from sample to sample, and before the first. */
  readonly pace: number;
  readonly offset: number;
  /** Bits below the sample in its word. */
  readonly shift: number;
}

export interface PixelLayout {
  readonly kind: 'yuv' | 'rgb' | 'gray';
  readonly bits: number;
  /** Bytes of a sample's word. */
  readonly word: 1 | 2;
  readonly bigEndian: boolean;
  /** Pixels for one chroma sample, as powers of two. */
  readonly across: number;
  readonly down: number;
  /** Y', Cb, Cr; R', G', B'; Y'. */
  readonly components: readonly Component[];
  /** Bytes of one line of each plane, and its lines, of a picture. */
  readonly planes: (
    width: number,
    height: number,
  ) => readonly { readonly stride: number; readonly lines: number }[];
}

const subsampling: Readonly<Record<string, readonly [number, number]>> = {
  '410': [2, 2],
  '411': [2, 0],
  '420': [1, 1],
  '422': [1, 0],
  '440': [0, 1],
  '444': [0, 0],
};
const ceilShift = (value: number, shift: number): number => -(-value >> shift);

const planar = (count: number, word: 1 | 2): Component[] =>
  Array.from({ length: count }, (_, plane) => ({ plane, pace: word, offset: 0, shift: 0 }));

/** Packed pixels of R', G', B' and others: the order of the bytes. */
const packedRgb: Readonly<Record<string, readonly [step: number, r: number, g: number, b: number]>> = {
  rgb24: [3, 0, 1, 2],
  bgr24: [3, 2, 1, 0],
  rgba: [4, 0, 1, 2],
  bgra: [4, 2, 1, 0],
  argb: [4, 1, 2, 3],
  abgr: [4, 3, 2, 1],
  rgb0: [4, 0, 1, 2],
  bgr0: [4, 2, 1, 0],
  '0rgb': [4, 1, 2, 3],
  '0bgr': [4, 3, 2, 1],
  rgb48: [6, 0, 2, 4],
  bgr48: [6, 4, 2, 0],
  rgba64: [8, 0, 2, 4],
  bgra64: [8, 4, 2, 0],
};
/** null: not among those that can be read here. */
export function layoutOf(pixelFormat: string): PixelLayout | null {
  const name = pixelFormat.replace(/[lb]e$/, '');
  const bits = bitDepthOf(pixelFormat, undefined);
  const word = bits > 8 ? 2 : 1;
  const common = { bits, word, bigEndian: pixelFormat.endsWith('be'), across: 0, down: 0 } as const;
  if (/f(16|32)$/.test(name)) return null;
  const packed = packedRgb[name];
  if (packed !== undefined) {
    const [pace, ...offsets] = packed;
    return {
      ...common,
      kind: 'rgb',
      components: offsets.map((offset) => ({ plane: 0, pace, offset, shift: 0 })),
      planes: (width, height) => [{ stride: pace * width, lines: height }],
    };
  }
  const semi = /^(nv12|nv16|p010|p012|p016|p210|p216)$/.exec(name)?.[1];
  if (semi !== undefined) {
    const [across, down] = /2|p0/.test(semi) && !/p2/.test(semi) && semi !== 'nv16' ? [1, 1] : [1, 0];
    const own = semi.startsWith('nv') ? 8 : Number(semi.slice(2));
    const bytes = own > 8 ? 2 : 1;
    const shift = own > 8 ? 16 - own : 0;
    return {
      ...common,
      bits: own,
      word: bytes,
      kind: 'yuv',
      across,
      down,
      components: [
        { plane: 0, pace: bytes, offset: 0, shift },
        { plane: 1, pace: 2 * bytes, offset: 0, shift },
        { plane: 1, pace: 2 * bytes, offset: bytes, shift },
      ],
      planes: (width, height) => [
        { stride: bytes * width, lines: height },
        { stride: 2 * bytes * ceilShift(width, across), lines: ceilShift(height, down) },
      ],
    };
  }
  if (/^gbr/.test(name)) {
    const order = planar(3, word) as [Component, Component, Component];
    return {
      ...common,
      kind: 'rgb',
      components: [order[2], order[0], order[1]],
      planes: (width, height) =>
        Array.from({ length: /^gbra/.test(name) ? 4 : 3 }, () => ({ stride: word * width, lines: height })),
    };
  }
  if (/^gray/.test(name) && isGray(pixelFormat))
    return {
      ...common,
      kind: 'gray',
      components: planar(1, word),
      planes: (width, height) => [{ stride: word * width, lines: height }],
    };
  const chroma = subsampling[/^yuv[aj]?(4\d\d)p/.exec(name)?.[1] ?? ''];
  if (chroma === undefined || !isPlanarYuv(pixelFormat) || isRgb(pixelFormat)) return null;
  const [across, down] = chroma;
  return {
    ...common,
    kind: 'yuv',
    across,
    down,
    components: planar(3, word),
    planes: (width, height) => {
      const small = { stride: word * ceilShift(width, across), lines: ceilShift(height, down) };
      const whole = { stride: word * width, lines: height };
      return [whole, small, small, ...(name.startsWith('yuva') ? [whole] : [])];
    },
  };
}

export interface SamplePlane {
  readonly width: number;
  readonly height: number;
  /** Codes as they lie in a file are words; what was computed of them may be NaN. */
  readonly values: Uint16Array | Float64Array;
}

/** A plane as it was read. */
interface CodedPlane extends SamplePlane {
  readonly values: Uint16Array;
}

/** Bytes of a picture. */
export function bytesOf(layout: PixelLayout, width: number, height: number): number {
  return layout.planes(width, height).reduce((sum, { stride, lines }) => sum + stride * lines, 0);
}

const LITTLE_ENDIAN = endianness() === 'LE';

/** Samples of a plane's lines: of each `wide` samples, the first at byte `start` and the lines `stride` bytes apart. */
function linesOf(
  { word, bigEndian }: PixelLayout,
  { pace, shift }: Component,
  bytes: Uint8Array,
  { start, stride, wide, tall }: { start: number; stride: number; wide: number; tall: number },
): CodedPlane {
  const values = new Uint16Array(wide * tall);
  // Whole frames come by here: samples that lie beside each other are copied in one go.
  const close = pace === word && shift === 0;
  const asWords =
    close &&
    word === 2 &&
    !bigEndian &&
    LITTLE_ENDIAN &&
    (bytes.byteOffset + start) % 2 === 0 &&
    stride % 2 === 0;
  const [high, low] = bigEndian ? [0, 1] : [1, 0];
  for (let line = 0; line < tall; line += 1) {
    let from = start + line * stride;
    const into = line * wide;
    if (asWords) values.set(new Uint16Array(bytes.buffer, bytes.byteOffset + from, wide), into);
    else if (close && word === 1) values.set(bytes.subarray(from, from + wide), into);
    else if (word === 1)
      for (let sample = 0; sample < wide; sample += 1, from += pace)
        values[into + sample] = (bytes[from] as number) >> shift;
    else
      for (let sample = 0; sample < wide; sample += 1, from += pace)
        values[into + sample] =
          (((bytes[from + high] as number) << 8) | (bytes[from + low] as number)) >> shift;
  }
  return { width: wide, height: tall, values };
}

/**
 * Samples of one of `count` pictures that lie below each other in one: of each component a plane. Of each, `kept` is
 * of the picture, and the rest fills it up.
 */
export function samplesOf(
  layout: PixelLayout,
  bytes: Uint8Array,
  stack: {
    readonly width: number;
    readonly height: number;
    readonly kept: { readonly width: number; readonly height: number };
    readonly count: number;
    readonly index: number;
  },
): CodedPlane[] {
  const { width, height, kept, count, index } = stack;
  const planes = layout.planes(width, height * count);
  const starts = startsOf(planes);
  return layout.components.map((component, number) => {
    const chroma = layout.kind === 'yuv' && number > 0;
    const own = chroma ? ceilShift(height, layout.down) : height;
    const { stride } = planes[component.plane] as { stride: number };
    return linesOf(layout, component, bytes, {
      start: (starts[component.plane] as number) + index * own * stride + component.offset,
      stride,
      wide: chroma ? ceilShift(kept.width, layout.across) : kept.width,
      tall: chroma ? ceilShift(kept.height, layout.down) : kept.height,
    });
  });
}

/** Lines `from` to `to` of a picture, whole; `from` begins a line of chroma. */
export function bandOf(
  layout: PixelLayout,
  bytes: Uint8Array,
  { width, height }: { readonly width: number; readonly height: number },
  { from, to }: { readonly from: number; readonly to: number },
): CodedPlane[] {
  const planes = layout.planes(width, height);
  const starts = startsOf(planes);
  return layout.components.map((component, number) => {
    const chroma = layout.kind === 'yuv' && number > 0;
    const first = chroma ? from >> layout.down : from;
    const { stride } = planes[component.plane] as { stride: number };
    return linesOf(layout, component, bytes, {
      start: (starts[component.plane] as number) + first * stride + component.offset,
      stride,
      wide: chroma ? ceilShift(width, layout.across) : width,
      tall: (chroma ? ceilShift(to, layout.down) : to) - first,
    });
  });
}

function startsOf(planes: readonly { readonly stride: number; readonly lines: number }[]): number[] {
  let at = 0;
  return planes.map(({ stride, lines }) => {
    const start = at;
    at += stride * lines;
    return start;
  });
}
