/** A picture of BT.709 within BT.2100 PQ: ITU-R BT.2408 (203 cd/m² is 58 % of the signal) and the matrix of ITU-R BT.2087, as printed. */
import { expect, test } from 'vitest';
import { decode } from '../../media/colour/curves.ts';
import { placeSdrInPq } from '../../media/colour/output/sdr-in-pq.ts';

const nits = (code: number): number => decode({ name: 'pq', nits_of_one: 1 }, code);

test('white comes to lie on the reference white, black on black', () => {
  const white = placeSdrInPq([1, 1, 1]);
  for (const code of white) expect(code).toBeCloseTo(0.58, 2);
  for (const code of white) expect(nits(code)).toBeCloseTo(203, 6);
  for (const code of placeSdrInPq([0, 0, 0])) expect(code).toBeLessThan(1e-6);
});

test.each([
  [
    [1, 0, 0],
    [0.6274, 0.0691, 0.0164],
  ],
  [
    [0, 1, 0],
    [0.3293, 0.9195, 0.088],
  ],
  [
    [0, 0, 1],
    [0.0433, 0.0114, 0.8956],
  ],
] as const)('%j keeps its colour', (code, light) => {
  const found = placeSdrInPq(code);
  for (const channel of [0, 1, 2] as const) expect(nits(found[channel]) / 203).toBeCloseTo(light[channel], 3);
});

test('a code in the middle has the light of its own display, times 2.03', () => {
  for (const code of placeSdrInPq([0.5, 0.5, 0.5])) expect(nits(code)).toBeCloseTo(203 * 0.5 ** 2.4, 6);
});

test('what lies beyond 0 and 1 ends there', () => {
  expect(placeSdrInPq([1.2, 1, 1])).toEqual(placeSdrInPq([1, 1, 1]));
  expect(placeSdrInPq([-0.2, 0.5, 1])).toEqual(placeSdrInPq([0, 0.5, 1]));
});
