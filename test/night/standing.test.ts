/** The same disturbances on a standing Redis with a password, and those of the Redis itself. */
import { afterAll, beforeAll, expect, test } from 'vitest';
import { BULL_PREFIX, JOB_QUEUE } from '../../ledger/queue.ts';
import { encoding, resultOf } from '../support/night.ts';
import { type StandingRedis, standingRedis } from '../support/redis.ts';
import { disturbedNights } from './disturbances.ts';

const password = 'bronze-Glocke-7731';
let redis: StandingRedis;
beforeAll(async () => {
  redis = await standingRedis({ password });
});
afterAll(() => redis.stop());

const { begin, fresh, slow, expectWhole, expectNothingRuns } = disturbedNights({
  name: 'standing',
  args: () => ['--queue', redis.url],
  password,
  // A worker on a farm is taken for dead after a minute: long enough for a network to come back, too long for a test.
  expireLocks: async () => {
    const locks = (await redis.ask('KEYS', `${BULL_PREFIX}:${JOB_QUEUE}:*:lock`)) as string[];
    expect(locks).toHaveLength(1);
    await redis.ask('DEL', ...locks);
  },
});

test('a night that ended leaves no job and no key of its own behind', async () => {
  const folders = fresh();
  const ended = await begin(folders).done;
  expect(ended.code, ended.stderr).toBe(0);
  const { run, night } = resultOf(ended.stdout);
  const keys = (await redis.ask('KEYS', '*')) as string[];
  expect(keys.filter((key) => key.includes(run) || key.includes(night))).toEqual([]);
}, 120_000);

test('the standing Redis killed in mid-night and started again on its append-only file: the night ends ready', async () => {
  const folders = fresh();
  const night = begin(folders, '--ffmpeg', slow());
  await encoding(folders);
  await redis.killAndStartAgain();
  const ended = await night.done;
  expect(ended.code, ended.stderr).toBe(0);
  expect(resultOf(ended.stdout).findings).toEqual([]);
  await expectWhole(folders);
  await expectNothingRuns(folders);
}, 120_000);

test('the standing Redis wiped in mid-night (FLUSHALL): what is not on disk is queued again', async () => {
  const folders = fresh();
  const night = begin(folders, '--ffmpeg', slow());
  await encoding(folders);
  await redis.ask('FLUSHALL');
  const ended = await night.done;
  expect(ended.code, ended.stderr).toBe(0);
  await expectWhole(folders);
  await expectNothingRuns(folders);
}, 120_000);
