/** A short campaign: each fault once, drawn from one seed, and clean cases. `npm run campaign` draws thousands. */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { faultNames } from '../faults/fault.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { dealer } from './draw.ts';
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

test('the same seed and number draw the same case, another seed another one', async () => {
  const folder = join(sharedFolder, 'campaign');
  const drawn = async (seed: number): Promise<unknown> => {
    const { fault, clip, profiles, operation } = await (await dealer(seed, folder)).fault(3).draw();
    return { fault, clip, profiles, operation };
  };
  const first = await drawn(SEED);
  expect(await drawn(SEED)).toEqual(first);
  expect(await drawn(SEED + 1)).not.toEqual(first);
});

test('a case that cannot even be drawn is told as broken, and the campaign goes on', async () => {
  const folder = freshFolder('campaign');
  writeFileSync(join(folder, 'material'), 'no folder');
  const results = await runCampaign({ seed: SEED, cases: 2, clean: 1, folder });
  expect(results.map(({ id, end }) => ({ id, end }))).toEqual(
    ['0', '1', 'clean-0'].map((id) => ({ id, end: 'broken' })),
  );
  for (const result of results) expect(lineOf(result)).toContain('material');
  expect(summaryOf(results)).toMatchObject({ good: false, clean: { broken: 1 } });
});

test('a campaign of nothing proves nothing', () => {
  expect(summaryOf([]).good).toBe(false);
});
