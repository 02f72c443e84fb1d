/** One pixel for each block of a mosaic: values by hand, and what threads make beside what the checker finds. */
import { beforeAll, describe, expect, test } from 'vitest';
import { type CfaPattern, cfaPatterns } from '../../media/formats/dng/kinds.ts';
import { KernelMemory } from '../../media/kernels/memory.ts';
import { half } from '../../media/raw/demosaic/half.ts';
import { channelAt } from '../../media/raw/demosaic/mosaic.ts';
import type { Turn } from '../../media/raw/develop/turn.ts';
import { DevelopKernel } from '../../media/raw/develop/kernel.ts';
import { UndevelopableError } from '../../media/raw/develop/undevelopable.ts';
import { developPlan, rawPicture } from '../support/raw-picture.ts';

const memory = new KernelMemory();
let kernel: DevelopKernel;
let mark = 0;
beforeAll(async () => {
  kernel = await DevelopKernel.load(memory);
  mark = memory.mark;
});

interface Area {
  readonly width: number;
  readonly height: number;
}
type Shape = Area & {
  readonly pattern?: CfaPattern;
  readonly activeArea?: { top: number; left: number; bottom: number; right: number };
  readonly defaultCrop?: { left: number; top: number; width: number; height: number };
};

function made(
  { width, height, ...fields }: Shape,
  codes: Uint16Array,
  { turn = 0, lines }: { readonly turn?: Turn; readonly lines?: number } = {},
): number[][] {
  memory.reset(mark);
  const picture = rawPicture(width, height, { white: 1000, ...fields });
  kernel.prepare({
    ...developPlan(picture, { demosaic: 'half', neutral: [1, 1, 1] }),
    turn,
    ...(lines === undefined ? {} : { lines }),
  });
  const planes: number[][] = [[], [], []];
  const shown = picture.defaultCrop;
  const rows = turn === 90 || turn === 270 ? shown.width >> 1 : shown.height >> 1;
  for (let first = 0; first < rows; first += lines ?? rows) {
    const { r, g, b, count } = kernel.camera(first === 0 ? codes : undefined, first);
    for (const [channel, at] of [r, g, b].entries())
      planes[channel]?.push(...Array.from(memory.f32(at, count), (value) => Math.round(value * 1e7) / 1e4));
  }
  return planes;
}

const codesOf = (width: number, height: number, code: (row: number, column: number) => number): Uint16Array =>
  Uint16Array.from({ length: width * height }, (_, at) => code(Math.floor(at / width), at % width));

describe('by hand', () => {
  // R 100 G 200 | R 116 G 220
  // G 300 B 400 | G 340 B 416
  // R 132 G 260 | R 164 G 240
  // G 360 B 432 | G 380 B 480
  const codes = Uint16Array.of(
    100,
    200,
    116,
    220,
    300,
    400,
    340,
    416,
    132,
    260,
    164,
    240,
    360,
    432,
    380,
    480,
  );

  test('green is the mean of two, red and blue are nine, three, three and one sixteenths of the nearest', () => {
    expect(made({ width: 4, height: 4 }, codes)).toEqual([
      // Beyond an edge the mirror has the pixel of that colour itself again.
      [
        // (9·100 + 3·116 + 3·132 + 164) / 16
        113,
        // (12·116 + 4·164) / 16
        128,
        // (12·132 + 4·164) / 16
        140, 164,
      ],
      [250, 280, 310, 310],
      [
        400,
        // (12·416 + 4·400) / 16
        412,
        // (12·432 + 4·400) / 16
        424,
        // (9·480 + 3·432 + 3·416 + 400) / 16
        454,
      ],
    ]);
  });

  test.each(cfaPatterns)(
    '%s: a slope of grey is the same slope in all colours, seen from the middles',
    (pattern) => {
      const [width, height] = [40, 32];
      const planes = made(
        { width, height, pattern },
        codesOf(width, height, (y, x) => 10 + 8 * x + 16 * y),
      );
      for (const plane of planes)
        for (let y = 1; y < 15; y += 1)
          for (let x = 1; x < 19; x += 1)
            expect(plane[y * 20 + x]).toBeCloseTo(10 + 8 * (2 * x + 0.5) + 16 * (2 * y + 0.5), 2);
    },
  );

  test('blocks begin with what is shown, at odd places too, and the last odd line and column are left out', () => {
    const [width, height] = [48, 40];
    const activeArea = { top: 3, left: 5, bottom: 39, right: 46 };
    const codesHere = codesOf(width, height, (y, x) => 5 + 9 * x + 13 * y);
    for (const defaultCrop of [
      { left: 7, top: 4, width: 21, height: 19 },
      { left: 4, top: 9, width: 18, height: 13 },
      { left: 3, top: 5, width: 17, height: 18 },
    ])
      for (const turn of [0, 90, 180, 270] as const) {
        const [across, down] = [defaultCrop.width >> 1, defaultCrop.height >> 1];
        const [upright, lines] = turn === 90 || turn === 270 ? [down, across] : [across, down];
        for (const plane of made({ width, height, activeArea, defaultCrop }, codesHere, { turn, lines: 4 })) {
          expect(plane).toHaveLength(across * down);
          for (let y = 0; y < lines; y += 1)
            for (let x = 0; x < upright; x += 1) {
              const [column, row] = {
                0: [x, y],
                90: [y, down - 1 - x],
                180: [across - 1 - x, down - 1 - y],
                270: [across - 1 - y, x],
              }[turn] as [number, number];
              const [sx, sy] = [5 + defaultCrop.left + 2 * column + 0.5, 3 + defaultCrop.top + 2 * row + 0.5];
              expect(plane[y * upright + x], `${turn} ${x} ${y}`).toBeCloseTo(5 + 9 * sx + 13 * sy, 2);
            }
        }
      }
  });

  test('less than a block is refused', () => {
    const defaultCrop = { left: 2, top: 2, width: 1, height: 4 };
    expect(() => made({ width: 8, height: 8, defaultCrop }, new Uint16Array(64))).toThrow(UndevelopableError);
  });
});

test.each(cfaPatterns)(
  '%s: the kernel gives what the reference does, in bands and at every size',
  (pattern) => {
    for (const [width, height] of [
      [2, 2],
      [3, 5],
      [8, 8],
      [9, 2],
      [2, 9],
      [17, 31],
      [71, 13],
      [64, 40],
    ] as const) {
      const codes = codesOf(
        width,
        height,
        (y, x) => (Math.imul(y * 131 + x * 7 + 3, 2_654_435_761) >>> 8) % 1000,
      );
      const reference = half({ values: Float64Array.from(codes), width, height, pattern });
      const planes = made({ width, height, pattern }, codes, { lines: 4 });
      const across = width >> 1;
      for (const [channel, plane] of [reference.r, reference.g, reference.b].entries())
        for (const [at, value] of (planes[channel] as number[]).entries())
          expect(value).toBeCloseTo(
            plane[2 * Math.floor(at / across) * width + 2 * (at % across)] as number,
            2,
          );
    }
  },
);

test('no pixel but those of its colour around the block counts', () => {
  const [width, height] = [12, 12];
  for (let at = 0; at < width * height; at += 1) {
    const values = new Float64Array(width * height);
    values[at] = 16;
    const { r, g, b } = half({ values, width, height, pattern: 'rggb' });
    const seen = [r, g, b].map((plane) => plane[6 * width + 6]);
    const [row, column] = [Math.floor(at / width), at % width];
    const channel = channelAt('rggb', row, column);
    const parts: Readonly<Record<string, number>> = {
      '6 6': 9,
      '6 8': 3,
      '8 6': 3,
      '8 8': 1,
      '7 7': 9,
      '7 5': 3,
      '5 7': 3,
      '5 5': 1,
      '6 7': 8,
      '7 6': 8,
    };
    const part = parts[`${row} ${column}`] ?? 0;
    const isNear = channel !== 1 || (row >= 6 && row <= 7 && column >= 6 && column <= 7);
    expect(seen).toEqual([0, 1, 2].map((one) => (one === channel && isNear ? part : 0)));
  }
});
