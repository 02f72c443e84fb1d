/** The kernels of development against their references in double precision, for every pattern, size, crop and kind of levels; and that frames do not touch one another. */
import { beforeAll, describe, expect, test } from 'vitest';
import { KernelMemory } from '../../media/kernels/memory.ts';
import { BAND_LINES, type Planes } from '../../media/kernels/planes.ts';
import { channelAt } from '../../media/raw/demosaic/mosaic.ts';
import { developmentOf } from '../../media/raw/develop/development.ts';
import { highlights } from '../../media/raw/develop/highlights.ts';
import { DevelopKernel, type DevelopPlan } from '../../media/raw/develop/kernel.ts';
import type { Triple } from '../../media/raw/develop/matrix.ts';
import { highlightPolicies } from '../../media/raw/develop/policies.ts';
import { UndevelopableError } from '../../media/raw/develop/undevelopable.ts';
import type { RawPicture } from '../../media/formats/dng/header.ts';
import { cfaPatterns } from '../../media/formats/dng/kinds.ts';
import { sourceOfBytes } from '../../media/formats/tiff/header.ts';
import { readDng } from '../../media/formats/dng/reader.ts';
import { buildDng, type DngTag, srationals } from '../support/dng.ts';
import { cameraByReference, developPlan, rawPicture } from '../support/raw-picture.ts';

/** Methods that give a pixel for each of the mosaic. */
const fullSize = ['linear', 'fine'] as const;

/** What float32 may cost, of the sensor's full range: some eight operations of 6e-8 each, on balanced values twice as large. */
const ERROR = 2e-6;

const memory = new KernelMemory();
let mark = 0;
let kernel: DevelopKernel;
beforeAll(async () => {
  kernel = await DevelopKernel.load(memory);
  mark = memory.mark;
});

const codesOf = (picture: RawPicture, seed = 1, most = 65_535): Uint16Array =>
  Uint16Array.from(
    { length: picture.width * picture.height },
    (_, index) => (Math.imul(seed * 7919 + index, 2_654_435_761) >>> 16) % (most + 1),
  );
const prepare = (plan: DevelopPlan): void => {
  memory.reset(mark);
  kernel.prepare(plan);
};
const read = ({ r, g, b, count }: Planes): [number[], number[], number[]] => [
  [...memory.f32(r, count)],
  [...memory.f32(g, count)],
  [...memory.f32(b, count)],
];

/** Largest difference; NaN and infinity differ by infinity. */
function largest(found: readonly number[], expected: Iterable<number>): number {
  const other = [...expected];
  expect(found.length).toBe(other.length);
  return found.reduce(
    (most, value, index) =>
      Math.max(
        most,
        Number.isFinite(value) ? Math.abs(value - (other[index] as number)) : Number.POSITIVE_INFINITY,
      ),
    0,
  );
}

function expectReference(plan: DevelopPlan, codes: Uint16Array): void {
  prepare(plan);
  const [r, g, b] = read(kernel.camera(codes));
  const expected = cameraByReference(plan, codes);
  expect(largest(r, expected.r), 'red').toBeLessThan(ERROR);
  expect(largest(g, expected.g), 'green').toBeLessThan(ERROR);
  expect(largest(b, expected.b), 'blue').toBeLessThan(ERROR);
}

describe.each(fullSize)('camera values, %s', (demosaic) => {
  const sizes = [
    [2, 2],
    [2, 9],
    [9, 2],
    [3, 3],
    [4, 5],
    [7, 6],
    [8, 8],
    [15, 4],
    [16, 16],
    [17, 31],
    [33, 18],
    [64, 24],
    [71, 13],
  ] as const;

  test.each(cfaPatterns)('every size of %s', (pattern) => {
    for (const [width, height] of sizes) {
      const picture = rawPicture(width, height, { pattern });
      expectReference(developPlan(picture, { demosaic }), codesOf(picture));
    }
  });

  test.each([
    ['even', { left: 4, top: 2, width: 20, height: 14 }],
    ['odd', { left: 3, top: 5, width: 21, height: 11 }],
    ['odd one way', { left: 7, top: 0, width: 30, height: 24 }],
    ['at the far corner', { left: 37, top: 22, width: 3, height: 2 }],
    ['one pixel', { left: 20, top: 11, width: 1, height: 1 }],
  ])('a crop is a part of the whole, neighbours and all: %s', (_, defaultCrop) => {
    const picture = rawPicture(46, 30, {
      activeArea: { top: 3, left: 5, bottom: 27, right: 45 },
      pattern: 'gbrg',
      defaultCrop,
    });
    expectReference(developPlan(picture, { demosaic }), codesOf(picture));
  });

  test.each([
    [
      'unequal blacks',
      {
        black: { rows: 2, columns: 2, levels: [256, 300, 200, 100], columnDeltas: null, rowDeltas: null },
        white: 4095,
      },
      4095,
    ],
    [
      'blacks of another repeat',
      {
        black: {
          rows: 3,
          columns: 5,
          levels: Array.from({ length: 15 }, (_, index) => 100 + 7.25 * index),
          columnDeltas: null,
          rowDeltas: null,
        },
        white: 4000,
      },
      4095,
    ],
    [
      'deltas',
      {
        black: {
          rows: 2,
          columns: 1,
          levels: [64, 70],
          columnDeltas: Array.from({ length: 36 }, (_, index) => (index % 5) - 2),
          rowDeltas: Array.from({ length: 22 }, (_, index) => (index % 3) / 2),
        },
        white: 1023,
      },
      1023,
    ],
    [
      'a linearisation table',
      {
        linearisation: Array.from({ length: 1024 }, (_, index) => Math.floor(index ** 2 / 16)),
        black: { rows: 1, columns: 1, levels: [500], columnDeltas: null, rowDeltas: null },
        white: 60_000,
      },
      2000,
    ],
  ] satisfies [string, Partial<RawPicture>, number][])('%s', (_, fields, most) => {
    const picture = rawPicture(40, 28, {
      activeArea: { top: 2, left: 2, bottom: 24, right: 38 },
      pattern: 'grbg',
      ...fields,
    });
    expectReference(developPlan(picture, { demosaic }), codesOf(picture, 3, most));
  });

  test('below black and above white come through', () => {
    const picture = rawPicture(20, 20, {
      black: { rows: 1, columns: 1, levels: [1000], columnDeltas: null, rowDeltas: null },
      white: 2000,
    });
    prepare(developPlan(picture, { demosaic }));
    const levels = (code: number): number[] => [
      ...new Set(
        read(kernel.camera(new Uint16Array(400).fill(code)))
          .flat()
          .map((value) => Math.round(value * 1e4) / 1e4),
      ),
    ];
    expect(levels(0)).toEqual([-1]);
    expect(levels(65_000)).toEqual([64]);
  });

  test('a frame is the same whatever lay in the memory before, and whatever frame came before', () => {
    const picture = rawPicture(50, 34);
    const plan = developPlan(picture, { demosaic });
    prepare(plan);
    const first = read(kernel.camera(codesOf(picture, 1)));
    kernel.camera(codesOf(picture, 2));
    expect(read(kernel.camera(codesOf(picture, 1)))).toEqual(first);
    // Every bit set: NaN, wherever the frames lie.
    memory.bytes(mark, memory.memory.buffer.byteLength - mark).fill(255);
    prepare(plan);
    expect(read(kernel.camera(codesOf(picture, 1)))).toEqual(first);
  });

  test.each([
    [33, 50],
    [20, 16],
    [7, 3],
    [40, 17],
  ])('%i x %i: band by band the same as all at once, and frame after frame', (width, height) => {
    const picture = rawPicture(width, height, { pattern: 'gbrg' });
    const plan = developPlan(picture, { demosaic });
    prepare(plan);
    const whole = [1, 2].map((seed) => read(kernel.camera(codesOf(picture, seed))));
    for (const lines of [1, 5, 16, 100]) {
      prepare({ ...plan, lines });
      for (const [index, seed] of [1, 2].entries()) {
        kernel.codes().set(codesOf(picture, seed));
        const all: [number[], number[], number[]] = [[], [], []];
        for (let first = 0; first < height; first += lines)
          for (const [channel, plane] of read(kernel.camera(undefined, first)).entries())
            all[channel]?.push(...plane);
        expect(all).toEqual(whole[index]);
      }
    }
  });

  test('a band that does not follow the one before it is refused', () => {
    prepare({ ...developPlan(rawPicture(20, 40), { demosaic }), lines: 8 });
    expect(() => kernel.camera(undefined, 8)).toThrow('line 0 is next');
    kernel.camera(undefined, 0);
    expect(() => kernel.camera(undefined, 16)).toThrow('line 8 is next');
    kernel.camera(undefined, 8);
    kernel.camera(undefined, 0);
    expect(() => kernel.camera(undefined, 16)).toThrow('line 8 is next');
  });

  test('nothing is written beyond the planes', () => {
    // 693 pixels: with room for 704.
    const picture = rawPicture(33, 21);
    prepare(developPlan(picture, { demosaic }));
    const planes = kernel.camera(codesOf(picture));
    // Eight values behind a plane are anybody's (media/kernels/planes.ts).
    const behind = (planes.count + 8) * 4;
    for (const at of [planes.r, planes.g, planes.b]) memory.f32(at + behind, 3).fill(-7);
    kernel.toAp0(kernel.camera());
    for (const at of [planes.r, planes.g, planes.b])
      expect([...memory.f32(at + behind, 3)]).toEqual([-7, -7, -7]);
  });

  test('codes that a decoder put in place are those that are handed over', () => {
    const picture = rawPicture(24, 18);
    prepare(developPlan(picture, { demosaic }));
    const handed = read(kernel.camera(codesOf(picture, 4)));
    kernel.codes().fill(0);
    kernel.codes().set(codesOf(picture, 4));
    expect(read(kernel.camera())).toEqual(handed);
  });
});

describe.each(highlightPolicies)('AP0, %s', (policy) => {
  test('matrix, exposure and highlights as in double precision', () => {
    const picture = rawPicture(40, 30, {
      black: { rows: 1, columns: 1, levels: [3000], columnDeltas: null, rowDeltas: null },
      white: 45_000,
    });
    const plan = developPlan(picture, { highlights: policy, exposure: 2.5 });
    prepare(plan);
    const camera = read(kernel.camera(codesOf(picture)));
    const ap0 = read(kernel.toAp0(kernel.camera()));
    for (let index = 0; index < camera[0].length; index += 1) {
      const led = highlights(policy, plan.neutral, [
        camera[0][index],
        camera[1][index],
        camera[2][index],
      ] as unknown as Triple);
      for (const [channel, row] of plan.matrix.entries()) {
        const expected = plan.exposure * (row[0] * led[0] + row[1] * led[1] + row[2] * led[2]);
        // Values reach 10 here.
        expect(Math.abs((ap0[channel]?.[index] as number) - expected)).toBeLessThan(1e-5);
      }
    }
  });

  test('nothing is lowered', () => {
    const picture = rawPicture(40, 30, { white: 40_000 });
    prepare(
      developPlan(picture, {
        highlights: policy,
        matrix: [
          [1, 0, 0],
          [0, 1, 0],
          [0, 0, 1],
        ],
      }),
    );
    const camera = read(kernel.camera(codesOf(picture)));
    const led = read(kernel.toAp0(kernel.camera()));
    for (const [channel, plane] of camera.entries())
      for (const [index, value] of plane.entries())
        expect(led[channel]?.[index]).toBeGreaterThanOrEqual(value);
  });
});

/** The file's camera is that of the worked example of the DNG chain (develop-colour.test.ts), whose values were computed outside of this code. */
describe('from a file to AP0', () => {
  const grey = [0.18, 0.18, 0.18];
  test.each([
    ['a grey card', [0.081, 0.18, 0.108], [], 0, grey],
    ['a warm field', [0.3, 0.4, 0.1], [], 0, [0.535611, 0.418321, 0.053682]],
    ['a cool field', [0.1, 0.5, 0.4], [], 0, [0.349147, 0.488263, 0.748209]],
    [
      'BaselineExposure of half a stop',
      [0.081, 0.18, 0.108],
      [srationals(50_730, [0.5])],
      0,
      grey.map((value) => value * Math.SQRT2),
    ],
    ['a stop less, chosen', [0.081, 0.18, 0.108], [], -1, grey.map((value) => value / 2)],
    [
      'below a preview, with black and white of its own',
      [0.3, 0.4, 0.1],
      [
        { tag: 50_714, type: 'short', values: [4096] },
        { tag: 50_717, type: 'short', values: [60_000] },
      ],
      0,
      [0.535611, 0.418321, 0.053682],
    ],
  ] satisfies [string, Triple, DngTag[], number, number[]][])(
    '%s',
    async (_, camera, tags, exposureStops, expected) => {
      const [width, height] = [32, 20];
      const [black, white] = tags.length === 2 ? [4096, 60_000] : [0, 65_535];
      const samples = Uint16Array.from({ length: width * height }, (_value, index) =>
        Math.round(
          black + camera[channelAt('bggr', Math.floor(index / width), index % width)] * (white - black),
        ),
      );
      const { picture } = await readDng(
        sourceOfBytes(buildDng({ width, height, samples, pattern: 'bggr', tags, below: tags.length === 2 })),
      );
      const development = developmentOf(picture, {
        whiteBalance: 'as-shot',
        exposureStops,
        anchor: 'sensor',
      });
      if ('missing' in development) throw new Error(development.missing);
      for (const demosaic of fullSize) {
        prepare({ picture, demosaic, highlights: 'keep', ...development });
        const ap0 = read(kernel.toAp0(kernel.camera(samples)));
        // Codes of 16 bits: half a step is 8e-6 of full range, and the matrix doubles it.
        for (const [channel, plane] of ap0.entries())
          for (const value of plane)
            expect(Math.abs(value - (expected[channel] as number))).toBeLessThan(4e-5);
      }
    },
  );
});

test.each([
  ['all lines at once', {}, 150e6],
  ['in bands, little beyond its codes', { lines: BAND_LINES }, 20e6],
])("a frame of 4096 x 2160, %s: bytes of a thread's memory", async (_, how, most) => {
  const own = new KernelMemory();
  const before = own.mark;
  const large = await DevelopKernel.load(own);
  large.prepare({ ...developPlan(rawPicture(4096, 2160), { demosaic: 'fine' }), ...how });
  expect(own.mark - before).toBeGreaterThan(2 * 4096 * 2160);
  expect(own.mark - before).toBeLessThan(most);
});

test('what cannot be is refused', () => {
  expect(() => prepare(developPlan(rawPicture(1, 8)))).toThrow(UndevelopableError);
  expect(() => prepare(developPlan(rawPicture(8, 8, { white: 0 })))).toThrow(UndevelopableError);
  prepare(developPlan(rawPicture(8, 8)));
  expect(() => kernel.camera(new Uint16Array(63))).toThrow(RangeError);
});
