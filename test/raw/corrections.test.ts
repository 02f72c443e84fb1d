/**
 * Corrections that DNG frames ask for, LinearRaw and turned frames: values worked out by hand from the specification, and what the threads make beside what
 * the checker finds for itself, with a fault of each seen.
 */
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { readDng } from '../../media/formats/dng/reader.ts';
import { DngKernel } from '../../media/formats/dng/kernel.ts';
import { sourceOfBytes } from '../../media/formats/tiff/header.ts';
import { KernelMemory } from '../../media/kernels/memory.ts';
import { correctionName } from '../../media/raw/corrections/which.ts';
import type { DemosaicMethod } from '../../media/raw/demosaic/methods.ts';
import { cropOf, halved } from '../../media/raw/develop/crop.ts';
import { DevelopKernel } from '../../media/raw/develop/kernel.ts';
import { isMirrored, turned, turnOf } from '../../media/raw/develop/turn.ts';
import { rawSpot } from '../../worker/master/raw-spot.ts';
import { type DngOptions, buildDng, testSamples } from '../support/dng.ts';
import { freshFolder } from '../support/folder.ts';
import { everyRow, further } from '../support/lane.ts';
import { gainMap, opcodeList, reach, type TestOpcode, vignette, warp } from '../support/opcodes.ts';
import { developPlan } from '../support/raw-picture.ts';

const memory = new KernelMemory();
let develop: DevelopKernel;
let decode: DngKernel;
let mark = 0;
beforeAll(async () => {
  develop = await DevelopKernel.load(memory);
  decode = await DngKernel.load(memory);
  mark = memory.mark;
});

type Pixel = readonly [number, number, number];
interface Made {
  readonly width: number;
  readonly height: number;
  readonly at: (x: number, y: number) => Pixel;
}

/** As a frame thread makes it: camera values of what is shown, upright. */
async function made(file: Buffer, demosaic: DemosaicMethod = 'linear', lines = 16): Promise<Made> {
  const frame = await readDng(sourceOfBytes(file));
  const { picture, opcodes } = frame;
  const turn = turnOf(picture.orientation);
  const mirrored = isMirrored(picture.orientation);
  memory.reset(mark);
  develop.prepare(
    developPlan(picture, { demosaic, lines, turn, mirrored, corrections: opcodes.map(correctionName) }),
  );
  decode.decodeInto(file, frame, develop.codes());
  develop.correct(opcodes);
  const crop = cropOf(picture);
  const { width, height } = turned(demosaic === 'half' ? halved(crop) : crop, turn);
  const planes = [0, 1, 2].map(() => new Float32Array(width * height));
  for (let first = 0; first < height; first += lines) {
    const { r, g, b, count } = develop.camera(undefined, first);
    for (const [plane, at] of [r, g, b].entries()) planes[plane]?.set(memory.f32(at, count), first * width);
  }
  return {
    width,
    height,
    at: (x, y) => planes.map((plane) => plane[y * width + x] as number) as unknown as Pixel,
  };
}

/** As the checker finds it, from a file on disk, in camera values. */
async function found(
  file: Buffer,
  demosaic: DemosaicMethod,
): Promise<{ x: number; y: number; value: Pixel }[]> {
  const rollFolder = freshFolder('corrections');
  mkdirSync(join(rollFolder, 'A001C001'), { recursive: true });
  writeFileSync(join(rollFolder, 'A001C001', 'A001C001.0001.dng'), file);
  const { picture, opcodes } = await readDng(sourceOfBytes(file));
  const turn = turnOf(picture.orientation);
  const mirrored = isMirrored(picture.orientation);
  const { neutral, matrix, highlights, exposure } = developPlan(picture);
  const { pixels, sceneLinear } = await rawSpot({
    job: {
      rollFolder,
      clip: {
        place: {
          kind: 'sequence',
          folder: 'A001C001',
          prefix: 'A001C001.',
          suffix: '.dng',
          padding: 4,
          first: 1,
          count: 1,
          statedRate: null,
        },
      },
      facts: {},
    },
    linearisation: {
      kind: 'raw',
      decoder: 'own',
      decoderVersion: null,
      demosaic,
      highlights,
      neutral: [...neutral],
      matrix: matrix.map((row) => [...row]) as [
        [number, number, number],
        [number, number, number],
        [number, number, number],
      ],
      anchor: 'sensor',
      exposure,
      white: { x: 0.3, y: 0.3, kelvin: 6000, tint: 0 },
      corrections: opcodes.map(correctionName),
      turn,
      mirrored,
    },
    frame: 0,
    sceneLinear: (r, g, b) => [r, g, b],
    signal: new AbortController().signal,
  });
  return pixels.map(({ x, y }, index) => ({
    x,
    y,
    value: [...sceneLinear.subarray(3 * index, 3 * index + 3)] as unknown as Pixel,
  }));
}

/** The farthest that what threads make of one file lies from what the checker finds in another, by the pixel's size. */
async function apart(one: Buffer, other: Buffer, demosaic: DemosaicMethod = 'linear'): Promise<number> {
  const picture = await made(one, demosaic);
  const spots = await found(other, demosaic);
  expect(spots.length).toBeGreaterThan(demosaic === 'half' ? 100 : 500);
  let most = 0;
  for (const { x, y, value } of spots) {
    const size = Math.max(...value.map(Math.abs), 1e-2);
    for (const [channel, own] of picture.at(x, y).entries())
      most = Math.max(most, Math.abs(own - (value[channel] as number)) / size);
  }
  return most;
}

const [WIDTH, HEIGHT] = [96, 64];
/** What 32-bit arithmetic may differ by (check/master/tolerance.ts). */
const SAME = 2e-5;

const mosaic = (tags: DngOptions['tags'], change: Partial<DngOptions> = {}): Buffer =>
  buildDng({
    width: WIDTH,
    height: HEIGHT,
    samples: testSamples(WIDTH, HEIGHT, 12, 5),
    bits: 12,
    ...(tags === undefined ? {} : { tags }),
    ...change,
  });
const flat = (level: number, tags: DngOptions['tags'], change: Partial<DngOptions> = {}): Buffer =>
  mosaic(tags, { samples: new Uint16Array(WIDTH * HEIGHT).fill(level), ...change });

const ALL: readonly [number, number, number, number] = [0, 0, HEIGHT, WIDTH];
/** Values of 0.25 in a mosaic of 12 bits, as closely as it has them. */
const QUARTER = 1024 / 4095;

describe('by hand, on a field of one level', () => {
  test.each([
    [
      // (column + 1/2) / width between points at 0 and 1 (GainMap: relative coordinates).
      'a gain map of 1 to 2 across, in a mosaic',
      opcodeList(2, [gainMap(reach(ALL), 1, 2, [1, 2])]),
      (x: number) => QUARTER * (1 + (x + 0.5) / WIDTH),
    ],
    [
      'a gain map of 1 to 3 down, behind the demosaic',
      opcodeList(3, [gainMap(reach(ALL, 0, 3), 2, 1, [1, 3])]),
      (_: number, y: number) => QUARTER * (1 + (2 * (y + 0.5)) / HEIGHT),
    ],
    [
      // r is 1 in the farthest corner pixel; gain 1 + k0 r² + k1 r⁴ (FixVignetteRadial).
      'a vignette',
      opcodeList(3, [vignette([0.5, 0.25, 0, 0, 0])]),
      (x: number, y: number) => {
        const r2 =
          ((x - (WIDTH - 1) / 2) ** 2 + (y - (HEIGHT - 1) / 2) ** 2) /
          (((WIDTH - 1) / 2) ** 2 + ((HEIGHT - 1) / 2) ** 2);
        return QUARTER * (1 + 0.5 * r2 + 0.25 * r2 ** 2);
      },
    ],
    [
      'a polynomial: 0.1 + v²',
      opcodeList(3, [{ id: 8, fields: [reach(ALL, 0, 3), ['u32', 2], ['f64', 0.1, 0, 1]] }]),
      () => 0.1 + QUARTER ** 2,
    ],
    [
      'a table that halves',
      opcodeList(3, [
        {
          id: 7,
          fields: [
            reach(ALL, 0, 3),
            ['u32', 65_536],
            ['u16', ...Array.from({ length: 65_536 }, (_, index) => index >> 1)],
          ],
        },
      ]),
      () => QUARTER / 2,
    ],
    [
      'rows multiplied and columns added to',
      opcodeList(3, [
        {
          id: 12,
          fields: [
            reach(ALL, 0, 3),
            ['u32', HEIGHT],
            ['f32', ...Array.from({ length: HEIGHT }, (_, y) => 1 + y / 64)],
          ],
        },
        {
          id: 11,
          fields: [
            reach(ALL, 0, 3),
            ['u32', WIDTH],
            ['f32', ...Array.from({ length: WIDTH }, (_, x) => x / 256)],
          ],
        },
      ]),
      (x: number, y: number) => QUARTER * (1 + y / 64) + x / 256,
    ],
  ] as const)('%s', async (name, tag, expected) => {
    const { at } = await made(flat(1024, [tag]));
    for (const [x, y] of [
      [0, 0],
      [7, 3],
      [48, 31],
      [95, 63],
      [20, 60],
    ] as const)
      for (const [channel, value] of at(x, y).entries()) {
        // A ramp under a demosaic is the ramp but at its edges and for the filter's own curvature.
        const most = name.includes('mosaic') && (x === 0 || x === 95) ? 5e-3 : 2e-4;
        expect(Math.abs(value - expected(x, y)), `${x} ${y} ${channel}`).toBeLessThan(most);
      }
  });

  test('a warp by half takes the ramp from half as far from the centre', async () => {
    const samples = new Uint16Array(WIDTH * HEIGHT * 3);
    for (let at = 0; at < samples.length; at += 1) samples[at] = 1000 + 20 * (Math.floor(at / 3) % WIDTH);
    const file = mosaic([opcodeList(3, [warp([[0.5, 0, 0, 0, 0, 0]])])], { samples, linearRaw: true });
    const { at } = await made(file);
    const middle = (WIDTH - 1) / 2;
    for (const [x, y] of [
      [0, 0],
      [10, 40],
      [47, 9],
      [95, 63],
    ] as const)
      expect(at(x, y)[1]).toBeCloseTo((1000 + 20 * (middle + 0.5 * (x - middle))) / 4095, 5);
  });

  test('a bad pixel takes the mean of the nearer pair, and one marked by its code too', async () => {
    const samples = new Uint16Array(WIDTH * HEIGHT).fill(1024);
    samples[20 * WIDTH + 30] = 0;
    samples[41 * WIDTH + 50] = 4095;
    for (const tag of [
      opcodeList(1, [{ id: 5, fields: [['u32', 0, 1, 1, 20, 30, 41, 50, 42, 51]] }]),
      opcodeList(1, [
        { id: 4, fields: [['u32', 0, 0]] },
        { id: 4, fields: [['u32', 4095, 0]] },
      ]),
    ]) {
      const { at } = await made(mosaic([tag], { samples }));
      for (const [x, y] of [
        [30, 20],
        [31, 21],
        [50, 41],
      ] as const)
        for (const value of at(x, y)) expect(value).toBeCloseTo(QUARTER, 6);
    }
  });

  test('what a trim leaves is shown, and the next corrections count from its corner', async () => {
    const file = flat(1024, [
      opcodeList(3, [
        { id: 6, fields: [['u32', 8, 16, 56, 80]] },
        gainMap(reach([0, 0, 48, 64], 0, 3), 1, 2, [1, 2]),
      ]),
    ]);
    const { width, height, at } = await made(file);
    expect([width, height]).toEqual([64, 48]);
    expect(at(0, 0)[0]).toBeCloseTo(QUARTER * (1 + 0.5 / 64), 5);
    expect(at(63, 47)[2]).toBeCloseTo(QUARTER * (1 + 63.5 / 64), 5);
  });
});

/** Corrections, and the same with one number beside what it is. */
const faults: readonly (readonly [string, DngOptions['tags'], DngOptions['tags']])[] = [
  ...(
    [
      [
        'a point of a gain map',
        2,
        [gainMap(reach(ALL), 2, 3, [1, 1.5, 1, 2, 1, 1.2])],
        [gainMap(reach(ALL), 2, 3, [1, 1.5, 1.01, 2, 1, 1.2])],
      ],
      [
        'which pixels of the pattern a gain map is for',
        2,
        [gainMap(reach([0, 1, HEIGHT, WIDTH], 0, 1, 2, 2), 1, 2, [1, 2])],
        [gainMap(reach([1, 0, HEIGHT, WIDTH], 0, 1, 2, 2), 1, 2, [1, 2])],
      ],
      [
        'the plane of a gain map',
        3,
        [gainMap(reach(ALL, 0, 3), 1, 1, [1, 1.1, 1.2], 3)],
        [gainMap(reach(ALL, 0, 3), 1, 1, [1, 1.2, 1.1], 3)],
      ],
      [
        'a coefficient of a vignette',
        3,
        [vignette([0.4, 0.1, 0.05, 0.02, 0.01])],
        [vignette([0.4, 0.1, 0.05, 0.02, 0.012])],
      ],
      ...further([
        'the centre of a vignette',
        3,
        [vignette([0.4, 0, 0, 0, 0])],
        [vignette([0.4, 0, 0, 0, 0], 0.501)],
      ]),
      [
        'a warp of red',
        3,
        [
          warp([
            [1.001, 0.02, 0, 0, 0, 0],
            [1, 0.02, 0, 0, 0.001, 0.002],
            [0.999, 0.02, 0, 0, 0, 0],
          ]),
        ],
        [
          warp([
            [1.0012, 0.02, 0, 0, 0, 0],
            [1, 0.02, 0, 0, 0.001, 0.002],
            [0.999, 0.02, 0, 0, 0, 0],
          ]),
        ],
      ],
      [
        'the order of a warp and a gain map',
        3,
        [warp([[0.9, 0.02, 0, 0, 0, 0]]), gainMap(reach(ALL, 0, 3), 1, 2, [1, 2])],
        [gainMap(reach(ALL, 0, 3), 1, 2, [1, 2]), warp([[0.9, 0.02, 0, 0, 0, 0]])],
      ],
      [
        'a bad pixel',
        1,
        [{ id: 5, fields: [['u32', 0, 2, 0, 4, 4, 20, 30]] }],
        [{ id: 5, fields: [['u32', 0, 2, 0, 4, 5, 20, 30]] }],
      ],
      [
        'a row',
        2,
        [{ id: 10, fields: [reach([4, 0, 6, WIDTH]), ['u32', 2], ['f32', 0.01, 0.02]] }],
        [{ id: 10, fields: [reach([4, 0, 6, WIDTH]), ['u32', 2], ['f32', 0.01, 0.021]] }],
      ],
      [
        'a polynomial',
        2,
        [{ id: 8, fields: [reach(ALL), ['u32', 3], ['f64', 0, 0.9, 0.2, -0.1]] }],
        [{ id: 8, fields: [reach(ALL), ['u32', 3], ['f64', 0, 0.9, 0.2, -0.101]] }],
      ],
    ] as [string, 1 | 2 | 3, TestOpcode[], TestOpcode[]][]
  ).map(([name, list, right, wrong]): [string, DngOptions['tags'], DngOptions['tags']] => [
    name,
    [opcodeList(list, right)],
    [opcodeList(list, wrong)],
  ]),
  ['a turn', [{ tag: 274, type: 'short', values: [6] }], [{ tag: 274, type: 'short', values: [8] }]],
  ...further<readonly [string, DngOptions['tags'], DngOptions['tags']]>(
    [
      'a turn by half',
      [{ tag: 274, type: 'short', values: [3] }],
      [{ tag: 274, type: 'short', values: [1] }],
    ],
    ['a mirror', [{ tag: 274, type: 'short', values: [2] }], [{ tag: 274, type: 'short', values: [1] }]],
    [
      'a mirror and a turn',
      [{ tag: 274, type: 'short', values: [5] }],
      [{ tag: 274, type: 'short', values: [7] }],
    ],
  ),
];

describe('threads and checker', () => {
  const methods = ['linear', 'fine', 'half'] as const;
  // By turns in npm test; all of each in the long lane.
  test.each(
    faults.map((fault, index) => [...fault, everyRow ? methods : [methods[index % 3] as 'fine']] as const),
  )('agree, and a fault of one shows: %s', async (_, right, wrong, demosaics) => {
    for (const demosaic of demosaics)
      expect(await apart(mosaic(right), mosaic(right), demosaic), demosaic).toBeLessThan(SAME);
    expect(await apart(mosaic(wrong), mosaic(right))).toBeGreaterThan(5 * SAME);
  });

  test('all at once, cropped oddly, turned, with levels that differ', async () => {
    for (const orientation of everyRow ? [1, 2, 3, 4, 5, 6, 7, 8] : [7]) {
      const file = mosaic([
        { tag: 274, type: 'short', values: [orientation] },
        { tag: 50_829, type: 'long', values: [3, 5, HEIGHT - 1, WIDTH - 2] },
        { tag: 50_719, type: 'long', values: [4, 7] },
        { tag: 50_720, type: 'long', values: [71, 45] },
        { tag: 50_713, type: 'short', values: [2, 2] },
        { tag: 50_714, type: 'short', values: [60, 64, 68, 72] },
        opcodeList(1, [{ id: 5, fields: [['u32', 0, 2, 0, 14, 14, 20, 30]] }]),
        opcodeList(2, [gainMap(reach([0, 0, 60, 89]), 2, 3, [1, 1.5, 1, 2, 1, 1.2])]),
        opcodeList(3, [
          vignette([0.4, 0.1, 0.05, 0.02, 0.01], 0.48, 0.55),
          warp([[0.97, 0.02, 0, 0, 0.001, 0.002]]),
          gainMap(reach([0, 0, 60, 89], 0, 3), 1, 2, [1, 1.3]),
        ]),
      ]);
      for (const demosaic of ['fine', ...further('half' as const)] as const)
        expect(await apart(file, file, demosaic), `${demosaic}, orientation ${orientation}`).toBeLessThan(
          SAME,
        );
    }
  });

  test.each([
    ['16 bits', { bits: 16 }],
    ['12 bits packed in strips', { bits: 12, rowsPerStrip: 7 }],
    ['lossless JPEG of three components', { bits: 12, jpeg: { components: 3 } }],
    ['lossless JPEG of one component in tiles', { bits: 14, jpeg: {}, tile: { width: 32, height: 32 } }],
    ['floating point of 32 bits', { bits: 32 }],
    ['floating point of 24 bits, big end first', { bits: 24, littleEndian: false }],
    ['floating point of 16 bits in tiles', { bits: 16, tile: { width: 48, height: 32 } }],
  ] as [string, Partial<DngOptions>][])('LinearRaw: %s', async (name, form) => {
    const isFloat = name.startsWith('floating');
    const bits = form.bits as number;
    const codes = testSamples(WIDTH * 3, HEIGHT, isFloat ? 12 : bits, 11);
    const file = mosaic(
      [
        { tag: 274, type: 'short', values: [8] },
        ...(isFloat
          ? []
          : ([
              { tag: 50_714, type: 'short', values: [10, 12, 14] },
              { tag: 50_717, type: 'long', values: [2 ** bits - 1, 2 ** bits - 3, 2 ** bits - 5] },
            ] as const)),
        opcodeList(3, [vignette([0.4, 0.1, 0.05, 0.02, 0.01])]),
      ],
      {
        ...form,
        samples: codes,
        linearRaw: true,
        ...(isFloat ? { floats: Float32Array.from(codes, (code) => Math.fround(code / 2048)) } : {}),
      },
    );
    expect(await apart(file, file)).toBeLessThan(SAME);
  });

  test('LinearRaw by hand: black and white of each colour', async () => {
    const samples = new Uint16Array(WIDTH * HEIGHT * 3);
    for (let at = 0; at < samples.length; at += 1) samples[at] = [1110, 2120, 3130][at % 3] as number;
    const { at } = await made(
      mosaic(
        [
          { tag: 50_714, type: 'short', values: [110, 120, 130] },
          { tag: 50_717, type: 'long', values: [4110, 4120, 4130] },
        ],
        { samples, linearRaw: true, bits: 16 },
      ),
    );
    expect(at(5, 9).map((value) => value.toFixed(6))).toEqual(['0.250000', '0.500000', '0.750000']);
  });

  test('a sample that is no number is damage', async () => {
    const floats = new Float32Array(WIDTH * HEIGHT * 3).fill(0.5);
    const file = mosaic(undefined, { linearRaw: true, floats, bits: 32 });
    // The first sample becomes NaN.
    file.writeUInt32LE(0x7fc0_0000, 8);
    await expect(made(file)).rejects.toThrow(/sample 1 is NaN/);
    await expect(found(file, 'linear')).rejects.toThrow(/sample 1 is NaN/);
  });
});
