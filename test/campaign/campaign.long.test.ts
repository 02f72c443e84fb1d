/** A short campaign: each fault once, drawn from one seed, and clean cases. `npm run campaign` draws thousands. */
import { expect, test } from 'vitest';
import { faultNames } from '../faults/fault.ts';
import { freshFolder } from '../support/folder.ts';
import { runCampaign, summaryOf } from './campaign.ts';
import { lineOf } from './main.ts';

const SEED = 1;

test('no fault comes out ready, and nothing clean is held', async () => {
  const results = await runCampaign({
    seed: SEED,
    cases: faultNames.length,
    clean: 8,
    folder: freshFolder('campaign'),
  });
  expect(results.filter(({ end }) => ['missed', 'wrong-held', 'broken'].includes(end)).map(lineOf)).toEqual(
    [],
  );
  const { rows, clean, good } = summaryOf(results);
  expect(good).toBe(true);
  expect(rows.reduce((sum, { cases }) => sum + cases, 0)).toBe(faultNames.length);
  expect(clean).toEqual({ cases: 8, ready: 8, wrongHeld: 0, broken: 0 });
}, 1_200_000);
