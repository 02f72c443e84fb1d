/** A job's lock is renewed whatever its worker's loop is at, lost when another has it, and counted. */
import { spawn } from 'node:child_process';
import { join } from 'node:path';
import { type ConnectionOptions, Queue, Worker } from 'bullmq';
import { Redis } from 'ioredis';
import { expect, onTestFinished, test } from 'vitest';
import { packageFolder } from '../../files/installation.ts';
import { attemptsOf, attemptText } from '../../ledger/attempts.ts';
import { BULL_PREFIX, JOB_QUEUE, type QueueAddress, redisOptions } from '../../ledger/queue.ts';
import { startRenewer } from '../../worker/renewal.ts';
import { sharedRedis } from '../support/redis.ts';

test.each([
  ['the first', { attemptsStarted: 1, attemptsMade: 0 }, { attempt: 1, workersLost: 0 }, null],
  [
    'after a failure',
    { attemptsStarted: 2, attemptsMade: 1 },
    { attempt: 2, workersLost: 0 },
    'attempt 2: it failed',
  ],
  [
    'after a lost worker',
    { attemptsStarted: 2, attemptsMade: 0 },
    { attempt: 2, workersLost: 1 },
    'attempt 2: its worker was lost',
  ],
  [
    'after both',
    { attemptsStarted: 5, attemptsMade: 1 },
    { attempt: 5, workersLost: 3 },
    'attempt 5: its worker was lost 3 times, it failed',
  ],
])('an attempt, %s', (_, counts, expected, text) => {
  expect(attemptsOf(counts)).toEqual(expected);
  expect(attemptText(expected)).toBe(text);
});

async function redis(): Promise<{ url: string; address: QueueAddress; queue: Queue }> {
  const onDisk = await sharedRedis();
  const address: QueueAddress = { kind: 'url', url: onDisk.url };
  const queue = new Queue(JOB_QUEUE, {
    connection: redisOptions(address) as ConnectionOptions,
    prefix: BULL_PREFIX,
  });
  queue.on('error', () => undefined);
  onTestFinished(async () => {
    await queue.close();
    await onDisk.stop();
  });
  return { url: onDisk.url, address, queue };
}

/** Another machine's worker: it looks for stalled jobs often, and takes what it finds. */
function rival(address: QueueAddress): string[] {
  const taken: string[] = [];
  const worker = new Worker(JOB_QUEUE, async (job) => void taken.push(job.id ?? ''), {
    connection: redisOptions(address) as ConnectionOptions,
    prefix: BULL_PREFIX,
    stalledInterval: 200,
    maxStalledCount: 10,
    drainDelay: 1,
  });
  worker.on('error', () => undefined);
  onTestFinished(() => worker.close(true));
  return taken;
}

/** How often a rival took the job of a worker whose loop is blocked for more than twice the lock; `renew` as blocked-worker.mjs takes it. */
async function takenFromBlocked(renew: 'renew' | 'not'): Promise<number> {
  const { url, address, queue } = await redis();
  const child = spawn(
    process.execPath,
    [join(packageFolder, 'test/worker/blocked-worker.mjs'), url, '5000', '13000', renew],
    { stdio: ['ignore', 'pipe', 'inherit'] },
  );
  onTestFinished(() => void child.kill('SIGKILL'));
  let said = '';
  child.stdout.on('data', (data: Buffer) => {
    said += data.toString();
  });
  await expect.poll(() => said, { timeout: 30_000 }).toContain('ready');
  const job = await queue.add('job', {}, { jobId: 'run.1' });
  await expect.poll(() => said, { timeout: 30_000 }).toContain('begins');
  const taken = rival(address);
  await expect.poll(() => said, { timeout: 60_000 }).toContain('holds');
  if (taken.length === 0) {
    expect(said).toContain('holds true');
    await expect.poll(() => said, { timeout: 30_000 }).toContain('completed');
    expect(await job.getState()).toBe('completed');
  }
  return taken.length;
}

test("a job that blocks its worker's loop for more than twice its lock, renewed by its thread, stays with its worker and ends once; renewed by the loop that is blocked, it is given away (the control)", async () => {
  // Side by side: both wait for the clock.
  expect(await Promise.all([takenFromBlocked('renew'), takenFromBlocked('not')])).toEqual([0, 1]);
});

test('a lock that another has is reported at once, and one that nobody confirms before it runs out', async () => {
  const { address } = await redis();
  const client = new Redis(redisOptions(address));
  onTestFinished(() => client.disconnect());
  const lock = `${BULL_PREFIX}:${JOB_QUEUE}:run.1:lock`;
  await client.set(lock, 'mine', 'PX', 60_000);
  const renewer = startRenewer({ queue: address, lockMilliseconds: 3_000, hungMilliseconds: 60_000 });
  onTestFinished(() => renewer.close());
  await renewer.ready;
  const lost: string[] = [];
  const kept = renewer.keep({ queue: JOB_QUEUE, id: 'run.1' }, 'mine', (why) => lost.push(why));
  // Renewed: it has no more than its own time now.
  await expect.poll(() => client.pttl(lock), { timeout: 10_000 }).toBeLessThan(3_001);
  expect(kept.stillOurs()).toBe(true);
  await client.set(lock, 'another', 'PX', 60_000);
  await expect.poll(() => lost, { timeout: 10_000 }).toEqual(['another worker may have the job']);
  expect(kept.stillOurs()).toBe(false);
  expect(await client.get(lock)).toBe('another');

  await client.set(lock, 'again', 'PX', 60_000);
  const second = renewer.keep({ queue: JOB_QUEUE, id: 'run.1' }, 'again', (why) => lost.push(why));
  await expect.poll(() => client.pttl(lock), { timeout: 10_000 }).toBeLessThan(3_001);
  // A store that does not answer.
  await client.client('PAUSE', 8_000);
  await expect.poll(() => lost.length, { timeout: 20_000 }).toBe(2);
  expect(lost[1]).toMatch(/^not renewed for \d+ s$/);
  expect(second.stillOurs()).toBe(false);
});
