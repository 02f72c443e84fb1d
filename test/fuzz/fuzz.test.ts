/** The quick lane: a few damaged files of every format, each reader in a process of its own. The long one is `npm run fuzz`. */
import { describe, expect, test } from 'vitest';
import { fuzzRun } from '../../setup/fuzz.mjs';
import { fuzzFormats } from './seeds.ts';

const CASES = 30;
const SEED = 20_261_129;

describe('damaged files', () => {
  test('every reader of every format answers with a value or with damage: no crash, no hang, no memory without bounds', async () => {
    const rows = await fuzzRun({ cases: CASES, seed: SEED, say: () => undefined });
    expect(rows.map(({ format }) => format)).toEqual(fuzzFormats);
    expect(
      rows.flatMap(({ format, faults }) => faults.map((fault) => ({ format, seed: SEED, ...fault }))),
    ).toEqual([]);
    // A reader that refused everything would be safe and of no use, and would not be reached behind its first bytes.
    expect(rows.filter(({ values }) => values === 0).map(({ format }) => format)).toEqual([]);
  });
});
