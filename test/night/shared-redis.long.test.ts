/**
 * Disturbances on a shared Redis with a password: those of the Redis itself. All that the
 * built-in Redis has to bear it bears as well, (standing.long.test.ts).
 */
import { expect, test } from 'vitest';
import { encoding, processesWith, resultOf, RUNS_MILLISECONDS } from '../support/night.ts';
import { disturbedNights } from './disturbances.ts';
import { ownRedis } from './own-redis.ts';

const redis = await ownRedis();
const { begin, beginHeld, fresh, expectWhole, expectNothingRuns } = disturbedNights(redis.place, 'few');

test(
  'undisturbed: every roll ready, without a finding of the night',
  async () => {
    const folders = fresh();
    const ended = await begin(folders).done;
    expect(ended.code, ended.stderr).toBe(0);
    expect(resultOf(ended.stdout).findings).toEqual([]);
    await expectWhole(folders);
    await expectNothingRuns(folders);
  },
  RUNS_MILLISECONDS,
);

test(
  'the shared Redis killed in mid-night and started again on its append-only file: every roll ready, without a finding of the night, no secret on any command line, and no job and no key of its own left behind',
  async () => {
    const folders = fresh();
    const held = beginHeld(folders);
    await encoding(folders);
    expect(processesWith(redis.place.password)).toEqual([]);
    await redis.store.killAndStartAgain();
    held.letGo();
    const ended = await held.done;
    expect(ended.code, ended.stderr).toBe(0);
    const { run, night, findings } = resultOf(ended.stdout);
    expect(findings).toEqual([]);
    await expectWhole(folders);
    await expectNothingRuns(folders);
    const keys = (await redis.store.ask('KEYS', '*')) as string[];
    expect(keys.filter((key) => key.includes(run) || key.includes(night))).toEqual([]);
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
