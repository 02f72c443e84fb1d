/** Two runs on one Redis, and workers that take from both: whose jobs are done, by the queue's own order. */
import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { Redis } from 'ioredis';
import { expect, onTestFinished, test } from 'vitest';
import { openNightQueue } from '../../coordinator/dispatch/night-queue.ts';
import { needOf, POSTINGS_KEY, readPostings } from '../../ledger/farm.ts';
import { partsOf } from '../../ledger/job-parts.ts';
import { type QueueAddress, redisOptions } from '../../ledger/queue.ts';
import { SHARES_KEY } from '../../ledger/shares.ts';
import { startTaking } from '../../worker/taking.ts';
import { freshFolder } from '../support/folder.ts';
import { jobOf } from '../support/jobs.ts';
import { eventually } from '../support/processes.ts';
import { sharedRedis } from '../support/redis.ts';

const JOBS = 60;
const [NORTH, SOUTH] = ['20260131T221503-1f2e3d4c', '20260131T221504-00000000'] as const;

async function postRun(address: QueueAddress, run: string, weight: number) {
  const nothing = (): void => undefined;
  const delivery = join(freshFolder('shares'), run);
  mkdirSync(delivery);
  const queue = await openNightQueue(
    address,
    { night: `night-of-${run}`, run, farm: delivery, weight },
    { active: nothing, progress: nothing, ended: nothing, failure: nothing, back: nothing },
  );
  const name = queue.queueOf(needOf(jobOf(1, run)));
  const jobs = Array.from({ length: JOBS }, (_, index) => ({
    id: `${run}.j${index}.q1`,
    ticket: partsOf(jobOf(index, run)).ticket,
    priority: 1 + index,
  }));
  await queue.add(name, jobs);
  return queue;
}

test('of two runs of weights 3 and 1, three of four jobs are of the first, the earlier run or not; one that ends leaves all to the other', async () => {
  const server = await sharedRedis();
  const address: QueueAddress = { kind: 'url', url: server.url };
  const redis = new Redis(redisOptions(address));
  redis.on('error', () => undefined);
  // The earlier one is the lighter: by their times alone it would have everything.
  const north = await postRun(address, NORTH, 1);
  const south = await postRun(address, SOUTH, 3);
  const takes = readPostings(await redis.hgetall(POSTINGS_KEY)).map(({ queue, run, weight }) => ({
    ...{ queue, run, weight },
  }));
  expect(takes.map(({ run, weight }) => [run, weight])).toEqual([
    [NORTH, 1],
    [SOUTH, 3],
  ]);
  const done: { readonly run: string; readonly seconds: number }[] = [];
  const workers = [1, 2].map(() =>
    startTaking({
      ...{ redis, slots: 2, lockMilliseconds: 60_000, stalledMilliseconds: 30_000, stallsAllowed: 10 },
      ...{ restMilliseconds: 20, log: () => undefined },
      work: async ({ id = '' }) => {
        const from = performance.now();
        await new Promise((resolve) => setTimeout(resolve, 40));
        done.push({ run: id.slice(0, NORTH.length), seconds: performance.now() - from });
      },
    }),
  );
  onTestFinished(async () => {
    for (const taking of workers) {
      await taking.finish();
      await taking.close();
    }
    await north.close();
    await south.close();
    redis.disconnect();
    await server.stop();
  });
  for (const taking of workers) taking.tell(takes);
  await eventually(() => done.length === 2 * JOBS, 60_000);
  // Until the heavier one has none left both waited all the time.
  const both = done.slice(0, 64);
  const seconds = (list: typeof done): number => list.reduce((sum, one) => sum + one.seconds, 0);
  const part = seconds(both.filter(({ run }) => run === SOUTH)) / seconds(both);
  expect(part).toBeGreaterThan(0.68);
  expect(part).toBeLessThan(0.82);
  // At no time one of them starves: of sixteen jobs in a row some are of the lighter one.
  for (let from = 0; from + 16 <= 64; from += 1)
    expect(done.slice(from, from + 16).some(({ run }) => run === NORTH)).toBe(true);
  expect(done.slice(-30).every(({ run }) => run === NORTH)).toBe(true);
  expect(Object.keys(await redis.hgetall(SHARES_KEY)).sort()).toEqual([NORTH, SOUTH]);
  await south.clear();
  expect(Object.keys(await redis.hgetall(SHARES_KEY))).toEqual([NORTH]);
}, 90_000);
