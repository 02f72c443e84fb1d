/**
 * What a campaign is: that it draws, finds a fault, and lets a clean case pass. Every fault has its own test in
 * test/faults; each of them drawn once is in the long lane (campaign.long.test.ts), and `npm run campaign` draws thousands.
 */
import { appendFileSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import type { FaultName } from '../faults/fault.ts';
import type { WayFaultName } from '../faults/way-faults.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';
import { dealer } from './draw.ts';
import { runCampaign, summaryOf } from './campaign.ts';
import { campaign, lineOf } from './main.ts';

const SEED = 1;
/** Material that all campaigns of this run draw from, and make once. */
const shared = join(sharedFolder, 'campaign-run');

test.each<[of: string, fault: FaultName]>([
  ['the bytes of the file', 'bit-flipped'],
  ...further<[of: string, fault: FaultName]>(
    ['the pictures themselves', 'wrong-range'],
    ['the order of pictures', 'two-swapped'],
    ['the audio', 'audio-late'],
  ),
])('a fault of %s (%s) is held for what it is', async (_of, fault) => {
  const results = await runCampaign({ seed: SEED, cases: 1, clean: 0, folder: shared, fault });
  expect(
    results.map(({ fault: drawn, end }) => [drawn, end]),
    results.map(lineOf).join('; '),
  ).toEqual([[fault, 'caught']]);
  expect(summaryOf(results)).toMatchObject({ good: true, rows: [{ fault, cases: 1, caught: 1 }] });
});

test.each<[of: string, ways: WayFaultName]>([
  ['a third of a stop', 'a-third-of-a-stop'],
  ...further<[of: string, ways: WayFaultName]>(['placing', 'rendered-and-not-placed']),
])('a fault of a colour way (%s) is held for what it is', async (_of, ways) => {
  const results = await runCampaign({
    seed: SEED,
    cases: 1,
    clean: 0,
    folder: join(sharedFolder, `ways-${ways}`),
    ways,
  });
  expect(
    results.map(({ fault: drawn, end }) => [drawn, end]),
    results.map(lineOf).join('; '),
  ).toEqual([[ways, 'caught']]);
});

test('a clean case is ready', async () => {
  const results = await runCampaign({ seed: SEED, cases: 0, clean: 1, folder: shared });
  expect(summaryOf(results)).toEqual({
    rows: [],
    clean: { cases: 1, ready: 1, wrongHeld: 0, broken: 0 },
    good: true,
  });
});

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

test('a case that cannot even be drawn is reported as broken, and the campaign goes on', async () => {
  const folder = freshFolder('campaign');
  writeFileSync(join(folder, 'material'), 'no folder');
  const results = await runCampaign({ seed: SEED, cases: 2, clean: 1, folder });
  expect(results.map(({ id, end }) => ({ id, end }))).toEqual(
    ['0', '1', 'clean-0'].map((id) => ({ id, end: 'broken' })),
  );
  for (const result of results) expect(lineOf(result)).toContain('material');
  expect(summaryOf(results)).toMatchObject({ good: false, clean: { broken: 1 } });
});

test('what stands in the file of results is not run again, and a line that was cut off is', async () => {
  const folder = freshFolder('resumed');
  writeFileSync(join(folder, 'material'), 'no folder');
  const results = join(folder, 'results');
  const run = async (...more: readonly string[]) => {
    const args = ['--seed', '1', '--cases', '3', '--clean', '0', '--folder', folder, '--results', results];
    return await campaign([...args, ...more], () => undefined);
  };
  const before = await run();
  expect([before.results.map(({ id }) => id), before.left]).toEqual([['0', '1', '2'], 0]);
  const [drawnBy, first, second = '', third = ''] = readFileSync(results, 'utf8').split('\n');
  expect(drawnBy).toBe('seed 1, movies, every fault');
  writeFileSync(
    results,
    [drawnBy, first, second.replace('"broken"', '"caught"'), third.slice(0, 9)].join('\n'),
  );
  const none = await run('--minutes', '0');
  expect([none.results.map(({ id, end }) => [id, end]), none.left]).toEqual([
    [
      ['0', 'broken'],
      ['1', 'caught'],
    ],
    1,
  ]);
  expect((await run()).results.map(({ end }) => end)).toEqual(['broken', 'caught', 'broken']);
  await expect(run('--seed', '2')).rejects.toThrow('seed 1, movies, every fault');
  appendFileSync(results, '{}\n');
  await expect(run()).rejects.toThrow();
});

test('a campaign of nothing proves nothing', () => {
  expect(summaryOf([]).good).toBe(false);
});
