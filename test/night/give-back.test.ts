/** A worker process that died: what it held is given to the next one at once, and nothing that another one holds. */
import { type ConnectionOptions, Queue, Worker } from 'bullmq';
import { Redis } from 'ioredis';
import { afterAll, beforeAll, expect, onTestFinished, test } from 'vitest';
import { type NightQueue, openNightQueue } from '../../coordinator/dispatch/night-queue.ts';
import { BULL_PREFIX, JOB_QUEUE, lockNameKey, type QueueAddress, redisOptions } from '../../ledger/queue.ts';
import { type SharedRedis, sharedRedis } from '../support/redis.ts';

const LOCK = 30_000;
let store: SharedRedis;
let address: QueueAddress;
let night: NightQueue;
beforeAll(async () => {
  store = await sharedRedis();
  address = { kind: 'url', url: store.url };
  const nothing = (): void => undefined;
  night = await openNightQueue(
    address,
    { night: 'night', run: 'run', farm: null },
    {
      active: nothing,
      progress: nothing,
      ended: nothing,
      failure: nothing,
      back: nothing,
    },
  );
});
afterAll(async () => {
  await night.close();
  await store.stop();
});

const options = (): { connection: ConnectionOptions; prefix: string } => ({
  connection: redisOptions(address) as ConnectionOptions,
  prefix: BULL_PREFIX,
});

/** A worker that took so many jobs and does nothing with them, as one that has died; `id`: what its setup says. */
async function holder(id: string | null, jobs: number): Promise<string[]> {
  const worker = new Worker(JOB_QUEUE, null, { ...options(), lockDuration: LOCK });
  onTestFinished(() => worker.close(true));
  await worker.waitUntilReady();
  const client = new Redis(redisOptions(address));
  if (id !== null) await client.set(lockNameKey(id), worker.id);
  client.disconnect();
  const taken: string[] = [];
  for (let number = 0; number < jobs; number += 1)
    taken.push((await worker.getNextJob(`${worker.id}:${number}`, { block: false }))?.id ?? '');
  return taken;
}

async function waiting(...ids: readonly string[]): Promise<Queue> {
  const queue = new Queue(JOB_QUEUE, options());
  queue.on('error', () => undefined);
  onTestFinished(async () => {
    await queue.obliterate({ force: true });
    await queue.close();
  });
  for (const jobId of ids) await queue.add('clip', {}, { jobId, priority: 3 });
  return queue;
}
const stateOf = async (id: string): Promise<string | undefined> =>
  (await night.statesOf(JOB_QUEUE, [id])).get(id);

test('its job waits again at once, and the next worker takes it and counts it as one that was lost', async () => {
  const queue = await waiting('run.1');
  expect(await holder('dead', 1)).toEqual(['run.1']);
  expect(await night.giveBack('dead')).toBe('run.1');
  expect(await stateOf('run.1')).toBe('prioritized');
  expect(await holder(null, 1)).toEqual(['run.1']);
  expect(await queue.getJob('run.1')).toMatchObject({ attemptsStarted: 2, attemptsMade: 0 });
});

test('of several one is given back: what ended the worker is not begun beside the same ones again', async () => {
  await waiting('run.1', 'run.2');
  const held = await holder('dead', 2);
  const given = await night.giveBack('dead');
  expect(held).toContain(given);
  for (const id of held) expect(await stateOf(id)).toBe(id === given ? 'prioritized' : 'active');
});

test('the job of another worker stays its own, also one that the dead worker had before', async () => {
  const queue = await waiting('run.1', 'run.2');
  await holder('dead', 1);
  // Its lock ran out, and another one has the job.
  await store.ask('DEL', `${queue.toKey('run.1')}:lock`);
  await store.ask('SET', `${queue.toKey('run.1')}:lock`, 'another:0');
  await holder('alive', 1);
  expect(await night.giveBack('dead')).toBeNull();
  expect(await night.giveBack('unknown')).toBeNull();
  for (const id of ['run.1', 'run.2']) expect(await stateOf(id)).toBe('active');
  expect(await store.ask('GET', `${queue.toKey('run.1')}:lock`)).toBe('another:0');
});

test('with a lock that has run out the job is left to the queue', async () => {
  const queue = await waiting('run.1');
  await holder('dead', 1);
  await store.ask('DEL', `${queue.toKey('run.1')}:lock`);
  expect(await night.giveBack('dead')).toBeNull();
  expect(await stateOf('run.1')).toBe('active');
});
