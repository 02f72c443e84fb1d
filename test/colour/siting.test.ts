/** Where chroma lies: a slope that is sampled where the standard has its chroma must come out as that slope at every pixel. */
import { expect, test } from 'vitest';
import { type Siting, cubicWeights, tapsAcross, tapsDown } from '../../media/colour/siting.ts';

/** ITU-T H.273, figure 10: of chroma sample (k, k), in luma samples of a progressive frame. */
const places: [Siting, (k: number) => number, (k: number) => number][] = [
  ['left', (k) => 2 * k, (k) => 2 * k + 0.5],
  ['center', (k) => 2 * k + 0.5, (k) => 2 * k + 0.5],
  ['topleft', (k) => 2 * k, (k) => 2 * k],
  ['top', (k) => 2 * k + 0.5, (k) => 2 * k],
  ['bottomleft', (k) => 2 * k, (k) => 2 * k + 1],
  ['bottom', (k) => 2 * k + 0.5, (k) => 2 * k + 1],
];

const LINES = 40;
const inside = Array.from({ length: 40 }, (_, index) => index + 16);

test.each(places)('%s in a progressive frame', (siting, across, down) => {
  for (const place of inside) {
    const { first, weights } = tapsAcross(siting, place);
    expect(weights.reduce((sum, weight, tap) => sum + weight * across(first + tap), 0)).toBeCloseTo(
      place,
      10,
    );
    const { lines, weights: vertical } = tapsDown(siting, place, false);
    expect(
      vertical.reduce((sum, weight, tap) => sum + weight * down(lines(tap as 0 | 1 | 2 | 3, LINES)), 0),
    ).toBeCloseTo(place, 10);
  }
});

/**
 * ISO/IEC 13818-2, figure 6-3: of an interlaced frame, chroma lines of the top field lie a quarter of a luma line of their field
 * below its luma, those of the bottom field three quarters: lines 4k + 0.5 and 4k + 2.5 of the frame.
 */
test('between the lines of each field in an interlaced frame', () => {
  const down = (line: number): number => (line % 2 === 0 ? 2 * line + 0.5 : 2 * (line - 1) + 2.5);
  for (const place of inside) {
    const { lines, weights } = tapsDown('left', place, true);
    const used = ([0, 1, 2, 3] as const).map((tap) => lines(tap, LINES));
    expect(used.every((line) => line % 2 === place % 2)).toBe(true);
    expect(weights.reduce((sum, weight, tap) => sum + weight * down(used[tap] as number), 0)).toBeCloseTo(
      place,
      10,
    );
  }
});

test('weights keep constant areas, and take a sample that lies there as it is', () => {
  for (const t of [0, 0.25, 0.5, 0.75, 0.9])
    expect(cubicWeights(t).reduce((sum, weight) => sum + weight, 0)).toBeCloseTo(1, 14);
  for (const [index, weight] of cubicWeights(0).entries())
    expect(weight).toBeCloseTo(index === 1 ? 1 : 0, 14);
});

test('lines beyond the edge are the outermost of their field', () => {
  expect(([0, 1, 2, 3] as const).map((tap) => tapsDown('left', 0, true).lines(tap, 4))).toEqual([0, 0, 0, 2]);
  expect(([0, 1, 2, 3] as const).map((tap) => tapsDown('left', 7, true).lines(tap, 4))).toEqual([1, 3, 3, 3]);
});

/** Mitchell and Netravali 1988, with B = 0 and C = 0.6: k(1/2) = 0.575, k(3/2) = -0.075, k(1/4) = 0.871875, k(3/4) = 0.240625, k(5/4) = -0.084375, k(7/4) = -0.028125; by hand. */
test('another cubic than that of Keys', () => {
  for (const [t, wanted] of [
    [0, [0, 1, 0, 0]],
    [0.5, [-0.075, 0.575, 0.575, -0.075]],
    [0.25, [-0.084_375, 0.871_875, 0.240_625, -0.028_125]],
  ] as const)
    for (const [tap, weight] of cubicWeights(t, 0.6).entries())
      expect(weight).toBeCloseTo(wanted[tap] as number, 12);
  const near = cubicWeights(0.3, 0.5 + 1e-12);
  for (const [tap, weight] of cubicWeights(0.3).entries()) expect(near[tap]).toBeCloseTo(weight, 9);
});
