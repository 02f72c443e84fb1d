/** One damaged file: the same seed and number give the same bytes. */
import { randomOf } from '../faults/random.ts';
import { mutated } from './mutate.ts';
import { type FuzzFormat, textFormats } from './seeds.ts';

export const damagedCase = (
  format: FuzzFormat,
  seeds: readonly Buffer[],
  seed: number,
  number: number,
): Buffer => mutated(seeds, textFormats.has(format), randomOf('fuzz', format, seed, number));
