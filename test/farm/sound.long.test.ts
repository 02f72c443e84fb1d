/** A night with production sound on a farm with volumes: machines read sound rolls where they themselves have them, and one that lacks them makes nothing. */
import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { Redis } from 'ioredis';
import { expect, test } from 'vitest';
import { POSTINGS_KEY } from '../../ledger/farm.ts';
import { runCli, startCli } from '../support/cli.ts';
import { linesOf, startMachine } from '../support/farm.ts';
import { freshFolder } from '../support/folder.ts';
import { resultOf, runWords } from '../support/night.ts';
import { eventually } from '../support/processes.ts';
import { sharedRedis } from '../support/redis.ts';
import { needsRoot } from '../support/root.ts';
import { makeSoundDay, tracksOf } from '../support/sound-day.ts';

test('every sample of the recordings lies in the proxies, made on machines with the volumes at other places; one that lacks the sound roll gives its job back and says why', async (context) => {
  needsRoot(context);
  const folder = freshFolder('farm-sound');
  const store = await sharedRedis();
  context.onTestFinished(() => store.stop());
  const [raid, proxies] = [join(folder, 'raid'), join(folder, 'proxies')];
  const day = await makeSoundDay(join(raid, 'day-07'));
  mkdirSync(proxies);
  for (const at of [raid, proxies]) expect((await runCli(['volume', 'init', at])).code).toBe(0);
  const elsewhere = (name: string): { mounts: string; words: string[] } => {
    const [r, p] = [join(folder, `${name}-r`), join(folder, `${name}-p`)];
    for (const at of [r, p]) mkdirSync(at);
    return {
      // Where the run has them, the machine has nothing.
      mounts: `mount --bind ${raid} ${r}; mount --bind ${proxies} ${p}; mount -t tmpfs none ${raid}; mount -t tmpfs none ${proxies}`,
      words: ['--volumes', `raid=${r},proxies=${p}`],
    };
  };
  const delivery = join(proxies, 'night');
  const run = startCli(
    runWords(
      {
        ...{ day, delivery, work: join(folder, 'work') },
        profiles: ['test/fixtures/profiles/small-sound-tracks.yaml'],
      },
      ...['--volumes', `raid=${raid},proxies=${proxies}`],
      ...['--queue', store.url, '--workers', '0', '--json'],
    ),
  );
  // Its drive has the clips, and a sound roll of which nothing was copied.
  const deaf = elsewhere('deaf');
  const without = startMachine({
    ...{ name: 'deaf', queue: store.url, folder, words: deaf.words },
    mounts: `${deaf.mounts}; mount -t tmpfs none ${join(folder, 'deaf-r', 'day-07', 'S001')}`,
  });
  const client = new Redis(store.url);
  context.onTestFinished(() => client.disconnect());
  await eventually(
    async () => JSON.stringify(await client.hgetall(POSTINGS_KEY)).includes('S001'),
    60_000,
    50,
  );
  const posted = JSON.stringify(await client.hgetall(POSTINGS_KEY));
  expect(posted).toContain('volume:raid/day-07/S001');
  expect(posted).not.toContain(folder);
  await eventually(() => without.said().includes('source-missing'), 60_000, 50);
  const fit = ['north', 'south'].map((name) =>
    startMachine({ name, queue: store.url, folder, ...elsewhere(name) }),
  );
  const ended = await run.done;
  expect(ended.code, ended.stderr).toBe(0);
  expect(resultOf(ended.stdout).rolls.map(({ roll, verdict, made }) => [roll, verdict, made])).toEqual([
    ['A001', 'ready', 2],
    ['S001', 'ready', 0],
  ]);
  expect(fit.flatMap(({ log }) => linesOf(log, 'done'))).toHaveLength(2);
  expect(linesOf(without.log, 'done')).toEqual([]);
  for (const { heard, wanted } of tracksOf(join(delivery, 'day-07', 'A001', 'small-sound-tracks')))
    expect(heard).toEqual(wanted);
  const audited = await runCli(['audit', delivery]);
  expect(audited.code, audited.stdout).toBe(0);
}, 300_000);
