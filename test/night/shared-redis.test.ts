/**
 * Disturbances on a shared Redis with a password: those in which it has a part, and those of the Redis itself. All that the
 * built-in Redis has to bear it bears as well, in the long lane (standing.long.test.ts).
 */
import { expect, test } from 'vitest';
import { encoding, resultOf, RUNS_MILLISECONDS } from '../support/night.ts';
import { disturbedNights } from './disturbances.ts';
import { ownRedis } from './own-redis.ts';

const redis = await ownRedis();
const { begin, beginHeld, fresh, expectWhole, expectNothingRuns } = disturbedNights(redis.place, 'few');

test(
  'a night that ended leaves no job and no key of its own behind',
  async () => {
    const folders = fresh();
    const ended = await begin(folders).done;
    expect(ended.code, ended.stderr).toBe(0);
    const { run, night } = resultOf(ended.stdout);
    const keys = (await redis.store.ask('KEYS', '*')) as string[];
    expect(keys.filter((key) => key.includes(run) || key.includes(night))).toEqual([]);
  },
  RUNS_MILLISECONDS,
);

test(
  'the shared Redis killed in mid-night and started again on its append-only file: the night ends ready',
  async () => {
    const folders = fresh();
    const night = beginHeld(folders);
    await encoding(folders);
    await redis.store.killAndStartAgain();
    night.letGo();
    const ended = await night.done;
    expect(ended.code, ended.stderr).toBe(0);
    expect(resultOf(ended.stdout).findings).toEqual([]);
    await expectWhole(folders);
    await expectNothingRuns(folders);
  },
  RUNS_MILLISECONDS,
);

test(
  'the shared Redis wiped in mid-night (FLUSHALL): what is not on disk is queued again',
  async () => {
    const folders = fresh();
    const night = beginHeld(folders);
    await encoding(folders);
    await redis.store.ask('FLUSHALL');
    night.letGo();
    const ended = await night.done;
    expect(ended.code, ended.stderr).toBe(0);
    await expectWhole(folders);
    await expectNothingRuns(folders);
  },
  RUNS_MILLISECONDS,
);
