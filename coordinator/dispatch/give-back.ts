/** What a worker process held that has ended: given to the next worker at once, instead of when its lock runs out. */
import { Queue } from 'bullmq';
import type { Redis } from 'ioredis';
import { BULL_PREFIX, lockNameKey } from '../../ledger/queue.ts';

/**
 * One of the jobs that it still holds; null: it holds none. `worker`: its setup's `id`. Which of several ended it is not known: the
 * others come when their locks run out, so that they do not meet the same end beside it again.
 */
export async function giveBackOf(
  client: Redis,
  worker: string,
  queues: readonly string[],
): Promise<string | null> {
  const name = await client.getdel(lockNameKey(worker));
  if (name === null) return null;
  for (const of of queues) {
    const queue = new Queue(of, { connection: client, prefix: BULL_PREFIX, skipMetasUpdate: true });
    queue.on('error', () => undefined);
    try {
      const given = await giveBackIn(queue, client, name);
      if (given !== null) return given;
    } finally {
      await queue.close();
    }
  }
  return null;
}

async function giveBackIn(queue: Queue, client: Redis, name: string): Promise<string | null> {
  for (const job of await queue.getActive()) {
    const token = job.id === undefined ? null : await client.get(`${queue.toKey(job.id)}:lock`);
    if (token?.startsWith(`${name}:`) !== true) continue;
    // The queue compares the token once more: a lock that ran out meanwhile, or is another's, is refused.
    await job.moveToWait(token);
    return job.id ?? null;
  }
  return null;
}
