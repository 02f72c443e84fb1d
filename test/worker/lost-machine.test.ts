/** How soon a job whose machine was lost is begun elsewhere: the sum of the periods, and the two things about looking for it that the sum rests on. */
import { type ConnectionOptions, Queue, Worker } from 'bullmq';
import { Redis } from 'ioredis';
import { expect, onTestFinished, test } from 'vitest';
import { FARM_LOCKS, LOST_MACHINE_MILLISECONDS } from '../../coordinator/night/locks.ts';
import { BULL_PREFIX, type QueueAddress, redisOptions } from '../../ledger/queue.ts';
import { FARM_REST_MILLISECONDS, startTaking } from '../../worker/taking.ts';
import { eventually } from '../support/processes.ts';
import { sharedRedis } from '../support/redis.ts';

/** Answers of Redis on a slow network, and a machine that is busy: our own allowance. */
const ANSWERS_MILLISECONDS = 5_000;

test('the periods that a lost machine costs are below what was asked for, answers included', () => {
  const { lockMilliseconds, stalledMilliseconds } = FARM_LOCKS;
  expect(
    lockMilliseconds + 2 * stalledMilliseconds + FARM_REST_MILLISECONDS + ANSWERS_MILLISECONDS,
  ).toBeLessThanOrEqual(LOST_MACHINE_MILLISECONDS);
  // The measure that the farm is held to.
  expect(LOST_MACHINE_MILLISECONDS).toBe(75_000);
  // Between two renewals at least two looks: the one that marks a job, and none of a machine that lives is marked for long.
  expect(2 * stalledMilliseconds).toBeLessThan(lockMilliseconds);
});

interface Store {
  readonly redis: Redis;
  queue(name: string): Queue;
  key(queue: string, name: string): string;
}

async function store(): Promise<Store> {
  const server = await sharedRedis();
  const address: QueueAddress = { kind: 'url', url: server.url };
  const redis = new Redis(redisOptions(address));
  redis.on('error', () => undefined);
  const opened: Queue[] = [];
  onTestFinished(async () => {
    await Promise.all(opened.map((queue) => queue.close()));
    redis.disconnect();
    await server.stop();
  });
  return {
    redis,
    queue(name) {
      const queue = new Queue(name, { connection: redis as ConnectionOptions, prefix: BULL_PREFIX });
      queue.on('error', () => undefined);
      opened.push(queue);
      return queue;
    },
    key: (queue, name) => `${BULL_PREFIX}:${queue}:${name}`,
  };
}

/** A worker that looks for jobs whose lock ran out, at once and then after so long. */
function looker({ redis }: Store, queue: string, stalledInterval: number): Worker {
  const worker = new Worker(queue, null, {
    connection: redis as ConnectionOptions,
    prefix: BULL_PREFIX,
    skipLockRenewal: true,
    lockDuration: 60_000,
    maxStalledCount: 10,
    stalledInterval,
  });
  worker.on('error', () => undefined);
  onTestFinished(() => worker.close(true));
  return worker;
}

test('the queue lets one look for lost jobs in a period, whoever looks: so the bound is two periods', async () => {
  const at = await store();
  const queue = at.queue('looked-at');
  await queue.add('job', {}, { jobId: 'lost-one' });
  const north = looker(at, 'looked-at', 30_000);
  expect(await north.getNextJob('north:1', { block: false })).toBeDefined();
  await north.startStalledCheckTimer();
  // It is marked: without its lock the next look gives it to others.
  await eventually(async () => (await at.redis.smembers(at.key('looked-at', 'stalled'))).length === 1);
  await at.redis.del(at.key('looked-at', 'lost-one:lock'));
  const south = looker(at, 'looked-at', 50);
  await south.startStalledCheckTimer();
  // Some of its looks are over, and each was refused, for the rest of the period of north.
  const calls = async (): Promise<number> =>
    Number(/cmdstat_evalsha:calls=(\d+)/.exec(await at.redis.info('commandstats'))?.[1] ?? 0);
  const before = await calls();
  await eventually(async () => (await calls()) > before + 3);
  expect(await queue.getActiveCount()).toBe(1);
  const left = await at.redis.pttl(at.key('looked-at', 'stalled-check'));
  expect(left).toBeGreaterThan(0);
  expect(left).toBeLessThanOrEqual(30_000);
  // As if that period were over.
  await at.redis.del(at.key('looked-at', 'stalled-check'));
  await eventually(async () => (await queue.getWaitingCount()) === 1);
});

test('a worker whose slots are all taken looks at each queue that it takes from', async () => {
  const at = await store();
  const [first, second] = [at.queue('first'), at.queue('second')];
  await first.add('job', {}, { jobId: 'long-one' });
  await second.add('job', {}, { jobId: 'lost-one' });
  const lost = looker(at, 'second', 60_000);
  expect(await lost.getNextJob('lost:1', { block: false })).toBeDefined();
  await at.redis.del(at.key('second', 'lost-one:lock'));
  let end: () => void = () => undefined;
  const working = new Promise<void>((resolve) => {
    end = resolve;
  });
  const begun: (string | undefined)[] = [];
  const taking = startTaking({
    redis: at.redis,
    slots: 1,
    lockMilliseconds: 60_000,
    stalledMilliseconds: 100,
    stallsAllowed: 10,
    restMilliseconds: 20,
    log: () => undefined,
    work: async ({ id }) => {
      begun.push(id);
      if (id === 'long-one') await working;
    },
  });
  onTestFinished(async () => {
    end();
    await taking.finish();
    await taking.close();
  });
  taking.tell(['first', 'second'].map((queue) => ({ queue, run: null, weight: 1 })));
  await eventually(async () => (await second.getWaitingCount()) === 1);
  expect(begun).toEqual(['long-one']);
  end();
  await eventually(() => begun.length === 2);
  expect(begun).toEqual(['long-one', 'lost-one']);
});
