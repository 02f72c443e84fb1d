/** The two demosaic methods in double precision: filters as their paper prints them, and laws that hold for any picture. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { fine } from '../../media/raw/demosaic/fine.ts';
import { linear } from '../../media/raw/demosaic/linear.ts';
import { channelAt, type Mosaic, mirrored, type Pixels } from '../../media/raw/demosaic/mosaic.ts';
import { type CfaPattern, cfaPatterns } from '../../media/formats/dng/kinds.ts';
import '../support/properties.ts';

/** Methods that give a pixel for each of the mosaic. */
const fullSize = ['linear', 'fine'] as const;

const methods = { linear, fine };

function mosaicOf(
  width: number,
  height: number,
  pattern: CfaPattern,
  value: (row: number, column: number, channel: 0 | 1 | 2) => number,
): Mosaic {
  const values = Float64Array.from({ length: width * height }, (_, index) => {
    const [row, column] = [Math.floor(index / width), index % width];
    return value(row, column, channelAt(pattern, row, column));
  });
  return { values, width, height, pattern };
}

describe('the pattern', () => {
  test.each([
    ['rggb', 'RGRG/GBGB'],
    ['grbg', 'GRGR/BGBG'],
    ['gbrg', 'GBGB/RGRG'],
    ['bggr', 'BGBG/GRGR'],
  ] as const)('%s', (pattern, rows) => {
    expect(
      [0, 1]
        .map((row) => [0, 1, 2, 3].map((column) => 'RGB'[channelAt(pattern, row, column)]).join(''))
        .join('/'),
    ).toBe(rows);
  });

  test('goes on beyond the edges as in mirrors on the last samples', () => {
    expect([-3, -2, -1, 0, 1, 2, 3, 4, 5, 6].map((index) => mirrored(index, 4))).toEqual([
      3, 2, 1, 0, 1, 2, 3, 2, 1, 0,
    ]);
    expect([-2, -1, 0, 1, 2, 3].map((index) => mirrored(index, 2))).toEqual([0, 1, 0, 1, 0, 1]);
  });
});

/** What one pixel of 16 in a dark picture gives around it: the filters of figure 2 of Malvar, He, Cutler (ICASSP 2004), in sixteenths, read backwards. */
describe('linear: the filters as they are published', () => {
  const around = (plane: Float64Array): number[][] =>
    [-2, -1, 0, 1, 2].map((y) => [-2, -1, 0, 1, 2].map((x) => (plane[(8 + y) * 16 + 8 + x] as number) + 0));
  const impulse = (pattern: CfaPattern): Pixels =>
    linear(mosaicOf(16, 16, pattern, (row, column) => (row === 8 && column === 8 ? 16 : 0)));

  test('of a red pixel', () => {
    const { r, g, b } = impulse('rggb');
    expect(around(r)).toEqual(
      [
        [0, 0, 0, 0, 0],
        [0, 0, 8, 0, 0],
        [0, 8, 16, 8, 0],
        [0, 0, 8, 0, 0],
        [0, 0, 0, 0, 0],
      ].map((row, y) => row.map((value, x) => (Math.abs(y - 2) === 1 && Math.abs(x - 2) === 1 ? 4 : value))),
    );
    expect(around(g)).toEqual([
      [0, 0, -2, 0, 0],
      [0, 0, 0, 0, 0],
      [-2, 0, 8, 0, -2],
      [0, 0, 0, 0, 0],
      [0, 0, -2, 0, 0],
    ]);
    expect(around(b)).toEqual([
      [0, 0, -3, 0, 0],
      [0, 0, 0, 0, 0],
      [-3, 0, 12, 0, -3],
      [0, 0, 0, 0, 0],
      [0, 0, -3, 0, 0],
    ]);
  });

  test('of a green pixel beside red', () => {
    const { r, g, b } = impulse('grbg');
    expect(around(g)).toEqual([
      [0, 0, 0, 0, 0],
      [0, 0, 4, 0, 0],
      [0, 4, 16, 4, 0],
      [0, 0, 4, 0, 0],
      [0, 0, 0, 0, 0],
    ]);
    expect(around(r)).toEqual([
      [0, 0, 1, 0, 0],
      [0, -2, 0, -2, 0],
      [-2, 0, 10, 0, -2],
      [0, -2, 0, -2, 0],
      [0, 0, 1, 0, 0],
    ]);
    expect(around(b)).toEqual([
      [0, 0, -2, 0, 0],
      [0, -2, 0, -2, 0],
      [1, 0, 10, 0, 1],
      [0, -2, 0, -2, 0],
      [0, 0, -2, 0, 0],
    ]);
  });
});

const sizes = fc.tuple(fc.integer({ min: 2, max: 15 }), fc.integer({ min: 2, max: 15 }));
const patterns = fc.constantFrom(...cfaPatterns);
const noise =
  (seed: number) =>
  (row: number, column: number): number =>
    ((Math.imul(seed + row * 131 + column, 2_654_435_761) >>> 8) / 2 ** 24) * 1.4 - 0.2;

describe.each(fullSize)('%s', (method) => {
  const run = methods[method];

  test('what was seen stays, to the last digits', () => {
    fc.assert(
      fc.property(sizes, patterns, fc.nat(1e6), ([width, height], pattern, seed) => {
        const mosaic = mosaicOf(width, height, pattern, noise(seed));
        const { r, g, b } = run(mosaic);
        for (const [index, value] of mosaic.values.entries())
          expect(
            [r, g, b][channelAt(pattern, Math.floor(index / width), index % width)]?.[index],
          ).toBeCloseTo(value, 14);
      }),
    );
  });

  test('a field of one colour is that colour everywhere, below black and above full too', () => {
    fc.assert(
      fc.property(
        sizes,
        patterns,
        fc.tuple(
          fc.double({ min: -0.5, max: 4, noNaN: true }),
          fc.double({ min: -0.5, max: 4, noNaN: true }),
          fc.double({ min: -0.5, max: 4, noNaN: true }),
        ),
        ([width, height], pattern, colour) => {
          const { r, g, b } = run(
            mosaicOf(width, height, pattern, (_row, _column, channel) => colour[channel]),
          );
          for (const [channel, plane] of [r, g, b].entries())
            for (const value of plane) expect(value).toBeCloseTo(colour[channel] as number, 12);
        },
      ),
    );
  });

  // `fine` works on a curve, on which a slope bends.
  test('a slope that all colours share is a slope, away from the edges', () => {
    const slope = (row: number, column: number): number => 0.7 + 0.01 * row - 0.02 * column;
    const { r, g, b } = run(
      mosaicOf(32, 30, 'gbrg', (row, column, channel) => slope(row, column) + 0.1 * channel),
    );
    for (let row = 9; row < 21; row += 1)
      for (let column = 9; column < 23; column += 1)
        for (const [channel, plane] of [r, g, b].entries())
          expect(
            Math.abs((plane[row * 32 + column] as number) - slope(row, column) - 0.1 * channel),
          ).toBeLessThan(method === 'linear' ? 1e-10 : 1e-3);
  });

  test('turned upside down, mirrored, or turned about its diagonal, a picture gives the same picture so', () => {
    const [width, height] = [13, 11];
    const upright = run(mosaicOf(width, height, 'rggb', noise(5)));
    const cases: [CfaPattern, (row: number, column: number) => readonly [number, number], number, number][] =
      [
        // Sizes are odd, so that the first column is like the last.
        ['rggb', (row, column) => [height - 1 - row, column], width, height],
        ['rggb', (row, column) => [row, width - 1 - column], width, height],
        ['rggb', (row, column) => [column, row], height, width],
      ];
    for (const [pattern, from, across, down] of cases) {
      const turned = run(mosaicOf(across, down, pattern, (row, column) => noise(5)(...from(row, column))));
      for (let row = 0; row < down; row += 1) {
        for (let column = 0; column < across; column += 1) {
          const [oldRow, oldColumn] = from(row, column);
          for (const name of ['r', 'g', 'b'] as const)
            expect(turned[name][row * across + column]).toBeCloseTo(
              upright[name][oldRow * width + oldColumn] as number,
              10,
            );
        }
      }
    }
  });

  test.runIf(method === 'linear')('a brighter picture is the same picture, brighter', () => {
    const [one, twice] = [1, 2].map((by) =>
      run(mosaicOf(20, 20, 'bggr', (row, column) => by * noise(9)(row, column))),
    );
    for (const name of ['r', 'g', 'b'] as const)
      for (const [index, value] of (one as Pixels)[name].entries())
        expect(((twice as Pixels)[name][index] as number) / 2).toBeCloseTo(value, 12);
  });

  test('never NaN, whatever the values', () => {
    fc.assert(
      fc.property(
        fc.array(fc.constantFrom(0, -1, 1, 65_535, 1e-30, 0.18), { minLength: 36, maxLength: 36 }),
        (values) => {
          const pixels = run({ values: Float64Array.from(values), width: 6, height: 6, pattern: 'rggb' });
          for (const plane of [pixels.r, pixels.g, pixels.b]) expect(plane.every(Number.isFinite)).toBe(true);
        },
      ),
    );
  });
});

test('fine follows grey lines almost as fine as the mosaic where linear leaves colours', () => {
  // A line every 2.6 pixels.
  const lines = mosaicOf(
    40,
    40,
    'rggb',
    (_row, column) => 0.4 + 0.2 * Math.cos((2 * Math.PI * column) / 2.6),
  );
  const colour = ({ r, g, b }: Pixels): number => {
    const inside = Array.from(
      { length: 24 * 24 },
      (_, index) => (8 + Math.floor(index / 24)) * 40 + 8 + (index % 24),
    );
    return Math.sqrt(
      inside.reduce(
        (sum, at) =>
          sum + ((r[at] as number) - (g[at] as number)) ** 2 + ((b[at] as number) - (g[at] as number)) ** 2,
        0,
      ) / inside.length,
    );
  };
  expect(colour(linear(lines))).toBeGreaterThan(0.1);
  expect(colour(fine(lines))).toBeLessThan(0.02);
});
