/** The picture kernel against the double-precision reference, over every format and every kind of step. */
import { beforeAll, describe, expect, test } from 'vitest';
import { codesOf, yuv10Of } from '../../media/colour/acescct.ts';
import { colourFileSteps } from '../../media/colour/file.ts';
import { layoutOf } from '../../media/colour/formats.ts';
import { evaluate } from '../../media/colour/evaluate.ts';
import { type InputTransform, inputNames, transformOf } from '../../media/colour/input.ts';
import type { Triple } from '../../media/colour/matrix.ts';
import { PictureKernel } from '../../media/colour/picture.ts';
import { type SourcePicture, codeRgbAt } from '../../media/colour/pixel.ts';
import { sitings } from '../../media/colour/siting.ts';
import { type ColourTransform, exponentStyles } from '../../media/colour/steps.ts';
import { KernelMemory } from '../../media/kernels/memory.ts';
import type { Planes } from '../../media/kernels/planes.ts';

const memory = new KernelMemory();
let kernel: PictureKernel;
beforeAll(async () => {
  kernel = await PictureKernel.load(memory);
});

/** The same numbers every time, spread over 0 to 1. */
function numbers(seed: number): () => number {
  let state = seed >>> 0;
  return () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return state / 2 ** 32;
  };
}

const read = (at: number, count: number): Float32Array => memory.f32(at, count).slice();
const readPlanes = ({ r, g, b, count }: Planes): [Float32Array, Float32Array, Float32Array] => [
  read(r, count),
  read(g, count),
  read(b, count),
];

/** Values through the kernel; every third value is the next pixel's R. A count that no vector divides. */
function through(transform: ColourTransform, values: readonly Triple[]): Triple[] {
  memory.reset();
  kernel.prepare({ width: values.length, height: 1, source: null, transform });
  const planes = kernel.planes();
  for (const [channel, at] of [planes.r, planes.g, planes.b].entries())
    memory.f32(at, values.length).set(values.map((value) => value[channel] as number));
  const [r, g, b] = readPlanes(kernel.toAp0(planes));
  return values.map((_, index): Triple => [r[index] as number, g[index] as number, b[index] as number]);
}

/** float32 values exactly. */
function drawn(low: number, high: number, count = 3001): Triple[] {
  const next = numbers(7);
  const value = (): number => Math.fround(low + (high - low) * next());
  // Where curves change their formula.
  const special: Triple[] = [
    [0, 0, 0],
    [1, 1, 1],
    [0.25, 0.5, 2 ** -140],
    [0.081, 0.04045, 0.5],
    [0.0078125, 0.01, 0.018],
  ].map((pixel) => pixel.map(Math.fround) as [number, number, number]);
  return [...special, ...Array.from({ length: count }, (): Triple => [value(), value(), value()])];
}

/** `relative` of the greater of the value and `of`. */
function within(
  transform: ColourTransform,
  values: readonly Triple[],
  { relative, near0 }: { relative: number; near0: number },
): void {
  const found = through(transform, values);
  const wrong = values.flatMap((value, index) => {
    const wanted = evaluate(transform, ...value);
    return wanted.flatMap((expected, channel) => {
      const got = (found[index] as Triple)[channel] as number;
      return Math.abs(got - expected) <= relative * Math.abs(expected) + near0
        ? []
        : [{ value, channel, expected, got }];
    });
  });
  expect(wrong.slice(0, 5)).toEqual([]);
}

/** Half of the last place of float32 is 6e-8 of a value. */
const BUDGET = { relative: 1e-7, near0: 1e-11 };

describe('transforms are within half of the last place of float32', () => {
  test.each(
    inputNames.map((name): [InputTransform] => [name === 'logc3-awg3' ? { name, ei: 320 } : { name }]),
  )('%o', (input) => {
    within(transformOf(input), drawn(-0.3, 1.3), BUDGET);
  });

  test.each<[InputTransform, number, number]>([
    [{ curve: 'cineon', gamut: 'bt709' }, -0.2, 1.2],
    [{ curve: 'bt709', gamut: 'p3d65', adaptation: 'cat02' }, -1, 1.5],
    [{ name: 'pq-bt2020', nits_of_one: 203 }, -0.1, 1.3],
    [{ name: 'aces2065-1' }, -65504, 65504],
    [{ name: 'acescg' }, -1e-6, 1e-6],
    [
      {
        log: {
          base: 10,
          logSideSlope: 0.256663,
          logSideOffset: 0.584555,
          linSideSlope: 0.9892,
          linSideOffset: 0.0108,
          linSideBreak: 0.0078,
          linearSlope: 6.025,
        },
        primaries: { red: [0.7, 0.3], green: [0.2, 0.8], blue: [0.1, 0] },
        white: [0.3127, 0.329],
        adaptation: 'cat02',
      },
      -0.2,
      1.2,
    ],
  ])('%o', (input, low, high) => within(transformOf(input), drawn(low, high), BUDGET));

  test.each([
    'slog2',
    'slog3',
    'logc4',
    'vlog',
    'log3g10',
    'flog',
    'flog2',
    'nlog',
    'dlog',
    'acesproxy10',
    'acesproxy12',
    'adx',
    'acescct',
    'acescc',
    'cineon',
    'bt709',
    'bt1886',
    'srgb',
  ] as const)('encoding %s', (name) => {
    const curve = { form: 'published', curve: { name }, direction: 'encode' } as const;
    within({ steps: [{ kind: 'curves', curves: [curve, curve, curve] }] }, drawn(-0.1, 20), BUDGET);
  });
  test.each([
    { name: 'logc3', ei: 1280 },
    { name: 'pq', nits_of_one: 100 },
    { name: 'hlg', signal_of_one: 0.75 },
  ] as const)('encoding %o', (curve) => {
    const each = { form: 'published', curve, direction: 'encode' } as const;
    within({ steps: [{ kind: 'curves', curves: [each, each, each] }] }, drawn(-0.1, 20), BUDGET);
  });

  test.each(exponentStyles.map((style) => [style]))('%s', (style) => {
    const each = {
      form: 'exponent',
      style,
      exponent: 2.4,
      offset: style.startsWith('mon') ? 0.055 : null,
    } as const;
    within(
      {
        steps: [
          {
            kind: 'curves',
            curves: [
              each,
              { ...each, exponent: 1.3 },
              { ...each, exponent: 1, offset: style.startsWith('mon') ? 0 : null },
            ],
          },
        ],
      },
      drawn(-1, 2),
      BUDGET,
    );
  });

  test.each(['Fwd', 'Rev', 'FwdNoClamp', 'RevNoClamp'] as const)('ASC CDL %s', (style) => {
    within(
      {
        steps: [
          {
            kind: 'cdl',
            style,
            slope: [1.1, 1, 0.8],
            offset: [-0.02, 0.01, 0.05],
            power: [1.2, 1, 0.8],
            saturation: 0.85,
          },
        ],
      },
      drawn(-0.5, 1.5),
      BUDGET,
    );
  });

  test('tables of one channel, and of all halves', () => {
    const table = Float64Array.from({ length: 37 }, (_, index) => Math.sin(index) * index);
    const half = Float64Array.from({ length: 65536 }, (_, bits) =>
      (bits & 0x7fff) > 0x7bff ? Number.NaN : Math.cos(bits) * (bits & 1023),
    );
    within(
      {
        steps: [
          {
            kind: 'table1',
            tables: [table, table.toReversed(), table],
            domain: { low: [-1, 0, 0.2], high: [1, 2, 0.7] },
          },
        ],
      },
      drawn(-1.5, 2.5),
      { relative: 1e-7, near0: 1e-10 },
    );
    within(
      { steps: [{ kind: 'table1', tables: [half, half.map((value) => -value), half], domain: 'half' }] },
      [...drawn(-1.5, 2.5), ...drawn(-70000, 70000), ...drawn(-1e-4, 1e-4), ...drawn(-1e-7, 1e-7)],
      { relative: 1e-7, near0: 1e-8 },
    );
  });

  test.each(['trilinear', 'tetrahedral'] as const)('3D tables, %s', (interpolation) => {
    const next = numbers(11);
    const values = Float64Array.from({ length: 3 * 17 ** 3 }, () => next() * 4 - 2);
    // Entries are kept in float32: 6e-8 of the greatest of them, which is 2.
    within(
      { steps: [{ kind: 'table3', size: 17, values, low: [-0.5, 0, 0], high: [1.5, 1, 2], interpolation }] },
      drawn(-0.7, 2.2),
      { relative: 1e-7, near0: 1.2e-7 },
    );
  });

  test('a whole file of nodes', () => {
    const node = (text: string): string => text.replace('>', ' inBitDepth="32f" outBitDepth="32f">');
    const nodes = [
      '<Matrix><Array dim="3 4">1.1 0 -0.2 0.1 0 1 0.3 0 -0.1 0.2 0.9 0</Array></Matrix>',
      '<Log style="cameraLogToLin"><LogParams base="10" linSideBreak="0.01" logSideSlope="0.25" logSideOffset="0.4" linSideSlope="5" linSideOffset="0.05"/></Log>',
      '<Range><minInValue>-1</minInValue><minOutValue>-1</minOutValue></Range>',
    ].map(node);
    const steps = colourFileSteps(
      'bell.clf',
      Buffer.from(
        `<?xml version="1.0"?><ProcessList id="bell" compCLFversion="3.0">${nodes.join('')}</ProcessList>`,
      ),
    );
    within({ steps }, drawn(-0.5, 1.2), BUDGET);
  });
});

describe('what a picture should not hold', () => {
  const odd: Triple[] = [
    [Number.NaN, 0.5, 1],
    [Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY, 0],
    [3e38, -3e38, 1e30],
    [-Number.MAX_VALUE, 2 ** -149, -0],
  ];
  test.each(inputNames.map((name) => [name]))('never makes %s give what is no number', (name) => {
    const found = through(transformOf(name === 'logc3-awg3' ? { name, ei: 800 } : { name }), odd);
    expect(found.flat().filter((value) => !Number.isFinite(value))).toEqual([]);
  });
  test('counts as 0 where it is no number', () => {
    expect(through(transformOf({ name: 'aces2065-1' }), odd)[0]).toEqual([0, 0.5, 1]);
  });
});

test('light below black and above white survives', () => {
  const found = through(transformOf({ name: 'slog3-sgamut3cine' }), [
    [0.05, 0.05, 0.05],
    [1.05, 1.05, 1.05],
  ]);
  expect((found[0] as Triple)[0]).toBeLessThan(-0.005);
  expect((found[1] as Triple)[0]).toBeGreaterThan(40);
});

const WIDTH = 22;
const HEIGHT = 14;
const source = (pixelFormat: string, more: Partial<SourcePicture> = {}): SourcePicture => ({
  width: WIDTH,
  height: HEIGHT,
  pixelFormat,
  matrix: 'bt709',
  range: 'limited',
  siting: 'left',
  interlaced: false,
  ...more,
});
const rgb = (pixelFormat: string, more: Partial<SourcePicture> = {}): SourcePicture =>
  source(pixelFormat, { matrix: null, siting: null, range: 'full', ...more });

/** Every bit drawn; floats between -1 and 3. */
function frameOf({ pixelFormat, width, height }: SourcePicture): Uint8Array {
  const { bytes, bits, samples } = layoutOf(pixelFormat, width, height);
  const next = numbers(bits + bytes);
  const frame = new Uint8Array(bytes);
  const view = new DataView(frame.buffer);
  const little = samples[0]?.coding.endsWith('le') ?? false;
  if (bits === 32) for (let at = 0; at < bytes; at += 4) view.setFloat32(at, next() * 4 - 1, little);
  else if (samples[0]?.coding === 'u8')
    for (let at = 0; at < bytes; at++) frame[at] = Math.floor(next() * 256);
  // Bits above the depth are not set by any decoder; those below a shifted value may be anything.
  else
    for (let at = 0; at < bytes; at += 2)
      view.setUint16(at, Math.floor(next() * 2 ** (bits + (samples[0]?.shift ?? 0))), little);
  return frame;
}

function held(picture: SourcePicture, budget: number): void {
  memory.reset();
  kernel.prepare({ width: picture.width, height: picture.height, source: picture, transform: null });
  const frame = frameOf(picture);
  const planes = readPlanes(kernel.codeRgb(frame));
  const wrong = Array.from({ length: picture.width * picture.height }, (_, index) => index).flatMap(
    (index) => {
      const wanted = codeRgbAt(picture, frame, index % picture.width, Math.floor(index / picture.width));
      return wanted.flatMap((expected, channel) => {
        const got = (planes[channel] as Float32Array)[index] as number;
        return Math.abs(got - expected) <= budget * Math.max(1, Math.abs(expected))
          ? []
          : [{ index, channel, expected, got }];
      });
    },
  );
  expect(wrong.slice(0, 5)).toEqual([]);
}

describe("raw frames become the reference's R'G'B'", () => {
  const depths = ['', '9le', '10le', '12le', '14le', '16le', '10be', '16be'];
  test.each([
    ...['420', '422', '444'].flatMap((layout) => depths.map((depth) => `yuv${layout}p${depth}`)),
    'yuva444p10le',
    'yuva422p',
    'nv12',
    'nv16',
    'nv24',
    'p010le',
    'p010be',
    'p016le',
    'p210le',
    'p416le',
    'yuyv422',
    'uyvy422',
  ])('%s', (format) => {
    held(source(format), 4e-7);
  });
  test.each(['bt709', 'bt2020', 'bt601', 'bt601-625', 'st240', 'fcc'] as const)(
    'matrix %s, full range',
    (matrix) => {
      held(source('yuv420p10le', { matrix, range: 'full' }), 4e-7);
      held(source('yuvj420p', { matrix, range: 'full' }), 4e-7);
    },
  );
  test.each(['left', 'center', 'topleft', 'top', 'bottomleft', 'bottom'] as const)(
    'chroma %s, progressive and interlaced, sides even and odd',
    (siting) => {
      for (const interlaced of [false, true])
        for (const [width, height] of [
          [22, 14],
          [21, 13],
          [2, 2],
          [1, 1],
          [3, 5],
          [33, 4],
        ] as const)
          held(source('yuv420p12le', { siting, interlaced, width, height }), 4e-7);
      held(source('yuv422p10le', { siting, width: 31 }), 4e-7);
    },
  );
  test.each([
    'gbrp',
    'gbrp10le',
    'gbrp10be',
    'gbrp12le',
    'gbrp16le',
    'gbrap16be',
    'gbrap',
    'gbrpf32le',
    'gbrpf32be',
    'gbrapf32le',
    'rgb24',
    'bgr24',
    'rgba',
    'bgra',
    'argb',
    'abgr',
    'rgb0',
    '0bgr',
    'rgb48le',
    'rgb48be',
    'bgr48le',
    'rgba64le',
    'bgra64be',
    'gray',
    'gray10le',
    'gray16be',
    'ya8',
    'ya16le',
    'grayf32le',
  ])('%s', (format) => {
    held(rgb(format), 6e-8);
    held(rgb(format, { range: 'limited', width: 37, height: 3 }), 6e-8);
  });
  test.each([
    ...sitings.flatMap((siting) =>
      [false, true].flatMap((interlaced) =>
        [
          [22, 14],
          [21, 13],
          [33, 4],
          [9, 70],
        ].map(([width, height]) =>
          source('yuv420p12le', { siting, interlaced, width: width as number, height: height as number }),
        ),
      ),
    ),
    source('yuv422p10le', { height: 35 }),
    source('yuv444p', { height: 17 }),
    source('nv12', { height: 33 }),
    rgb('gbrp12le', { width: 37, height: 19 }),
    rgb('rgba', { width: 5, height: 33 }),
  ])(
    'band by band the same as all at once: $pixelFormat $width x $height, chroma $siting, interlaced $interlaced',
    (picture) => {
      const { width, height } = picture;
      const frame = frameOf(picture);
      const planesIn = (lines: number): number[][] => {
        memory.reset();
        kernel.prepare({ width, height, lines, source: picture, transform: null });
        kernel.frame().set(frame);
        const all: number[][] = [[], [], []];
        for (let first = 0; first < height; first += lines)
          for (const [channel, plane] of readPlanes(kernel.codeRgb(undefined, first)).entries())
            all[channel]?.push(...plane);
        return all;
      };
      const whole = planesIn(height);
      expect(whole.map(({ length }) => length)).toEqual([width * height, width * height, width * height]);
      for (const lines of [1, 3, 16, height + 5]) expect(planesIn(lines)).toEqual(whole);
    },
  );
  test('lines that no vector divides, of a picture that whole cache lines hold: the last one stays out of the next plane', () => {
    for (const [width, height] of [
      [6, 8],
      [1998, 8],
      [5, 16],
      [7, 16],
    ] as const) {
      held(source('yuv444p', { width, height }), 4e-7);
      held(rgb('gbrp10le', { width, height }), 6e-8);
    }
  });
  test('infinities and what is no number in a float frame', () => {
    for (const [format, little] of [
      ['gbrpf32le', true],
      ['gbrpf32be', false],
    ] as const) {
      const picture = rgb(format, { width: 5, height: 1 });
      memory.reset();
      kernel.prepare({ width: 5, height: 1, source: picture, transform: null });
      const frame = new Uint8Array(layoutOf(format, 5, 1).bytes);
      const view = new DataView(frame.buffer);
      for (let index = 0; index < 15; index++)
        view.setFloat32(
          index * 4,
          [Number.NaN, Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY, 0.5, -2][index % 5] as number,
          little,
        );
      const most = 2 ** 128 - 2 ** 104;
      for (const plane of readPlanes(kernel.codeRgb(frame)))
        expect([...plane]).toEqual([0, most, -most, 0.5, -2]);
      expect(codeRgbAt(picture, frame, 1, 0)).toEqual([most, most, most]);
    }
  });
  test('a frame of another size, and a source that contradicts itself, are refused', () => {
    memory.reset();
    kernel.prepare({ width: WIDTH, height: HEIGHT, source: rgb('rgb24'), transform: null });
    expect(() => kernel.codeRgb(new Uint8Array(5))).toThrow(RangeError);
    expect(() => kernel.put(new Uint8Array(5))).toThrow('a frame of 5 bytes');
    for (const wrong of [
      rgb('yuv420p'),
      source('rgb24'),
      source('yuv420p', { siting: null }),
      rgb('pal8'),
      rgb('bayer_rggb16le'),
    ])
      expect(() => kernel.prepare({ width: WIDTH, height: HEIGHT, source: wrong, transform: null })).toThrow(
        RangeError,
      );
  });
});

// ITU-T H.273 with 8-bit narrow range: red, green, blue and white of each matrix, Y Cb Cr rounded. ffmpeg's own conversion gives the same codes.
describe("the primaries of 8-bit Y'CbCr", () => {
  test.each<['bt601' | 'bt709' | 'bt2020', number[][]]>([
    [
      'bt601',
      [
        [81, 90, 240],
        [145, 54, 34],
        [41, 240, 110],
        [235, 128, 128],
      ],
    ],
    [
      'bt709',
      [
        [63, 102, 240],
        [173, 42, 26],
        [32, 240, 118],
        [235, 128, 128],
      ],
    ],
    [
      'bt2020',
      [
        [74, 97, 240],
        [164, 47, 25],
        [29, 240, 119],
        [235, 128, 128],
      ],
    ],
  ])('of %s', (matrix, codes) => {
    const picture = source('yuv444p', { matrix, width: 4, height: 1 });
    memory.reset();
    kernel.prepare({ width: 4, height: 1, source: picture, transform: null });
    const planes = readPlanes(
      kernel.codeRgb(
        Uint8Array.from([0, 1, 2].flatMap((component) => codes.map((code) => code[component] as number))),
      ),
    );
    const wanted = [
      [1, 0, 0],
      [0, 1, 0],
      [0, 0, 1],
      [1, 1, 1],
    ];
    for (const [index, colour] of wanted.entries())
      for (const [channel, value] of colour.entries())
        expect(Math.abs(((planes[channel] as Float32Array)[index] as number) - value)).toBeLessThan(0.006);
  });

  // A 10-bit neutral of code 512 is (512 - 64) / 876.
  test('a neutral of 10 bits is exactly what its code says', () => {
    const picture = source('yuv444p10le', { width: 1, height: 1 });
    const frame = new Uint8Array(Uint16Array.from([512, 512, 512]).buffer);
    for (const value of codeRgbAt(picture, frame, 0, 0)) expect(value).toBeCloseTo(0.511415525, 9);
  });
});

describe('10-bit ACEScct', () => {
  const values = [...drawn(-0.02, 1.5), ...drawn(-200, 400, 500), [65504, -65504, 1] as const];
  const inPlanes = (): Planes => {
    memory.reset();
    kernel.prepare({ width: values.length, height: 1, source: null, transform: null });
    const planes = kernel.planes();
    for (const [channel, at] of [planes.r, planes.g, planes.b].entries())
      memory.f32(at, values.length).set(values.map((value) => value[channel] as number));
    return planes;
  };
  const codes = (planes: readonly number[]): Uint16Array[] =>
    planes.map((at) => memory.u16(at, values.length).slice());
  const same = (found: readonly Uint16Array[], reference: (value: Triple) => Triple): void => {
    const wrong = values.filter((value, index) =>
      reference(value).some((code, channel) => code !== (found[channel] as Uint16Array)[index]),
    );
    // Of ten thousand codes none lies so near to the middle of two that double precision of both kinds could part.
    expect(wrong).toEqual([]);
  };

  test("R'G'B' codes", () => {
    const { r, g, b } = kernel.toAcescctCodes(inPlanes());
    same(codes([r, g, b]), (value) => codesOf(value, 10));
  });
  test("Y'CbCr codes, and the planes stay", () => {
    const planes = inPlanes();
    const before = readPlanes(planes);
    const { y, cb, cr } = kernel.toAcescctYuv(planes);
    same(codes([y, cb, cr]), yuv10Of);
    expect(readPlanes(planes)).toEqual(before);
  });

  // Academy S-2016-001: 0.18 is 0.4135884, 1023 times that 423; narrow range 64 + 876 × 0.4135884 = 426. Black is 0.0729055: 75 and 128.
  test('grey and black have their codes', () => {
    expect(codesOf([0.18, 0.18, 0.18], 10)).toEqual([423, 423, 423]);
    expect(yuv10Of([0.18, 0.18, 0.18])).toEqual([426, 512, 512]);
    expect(codesOf([0, 0, 0], 10)).toEqual([75, 75, 75]);
    expect(yuv10Of([0, 0, 0])).toEqual([128, 512, 512]);
  });
});
