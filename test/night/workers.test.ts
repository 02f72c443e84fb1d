/** How many jobs a machine runs at once, by cores and memory. */
import { expect, test } from 'vitest';
import { defaultSlots, defaultWorkers } from '../../coordinator/night/workers.ts';

const GIBIBYTE = 1024 ** 3;

test.each([
  // cores, memory, workers, jobs side by side in each
  [1, 8, 1, 1],
  [2, 24, 1, 2],
  [2, 3, 1, 1],
  [4, 16, 1, 2],
  [16, 64, 4, 2],
  [16, 8, 4, 1],
  [64, 128, 16, 2],
])('%i cores and %i GiB: %i workers, each with %i jobs side by side', (cores, memory, workers, slots) => {
  expect(defaultWorkers(cores, memory * GIBIBYTE)).toBe(workers);
  expect(defaultSlots(workers, cores, memory * GIBIBYTE)).toBe(slots);
});

test('more workers than cores run one job each', () => {
  expect(defaultSlots(8, 4, 64 * GIBIBYTE)).toBe(1);
});
