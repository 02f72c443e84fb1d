/** Removes what a run put into the queue. Jobs that a worker holds are left; it drops them itself, since the night is no longer theirs. */
import { Queue, type QueueOptions } from 'bullmq';
import { JOB_QUEUE } from '../../ledger/queue.ts';

const JOBS_AT_ONCE = 1_000;

/** `queues`: that its jobs lie in. */
export async function clearRun(queues: readonly string[], options: QueueOptions, run: string): Promise<void> {
  for (const name of queues) await clearQueue(name, options, run);
}

async function clearQueue(name: string, options: QueueOptions, run: string): Promise<void> {
  const jobs = new Queue(name, { ...options, skipMetasUpdate: true });
  try {
    for (const state of ['completed', 'failed', 'wait', 'prioritized', 'delayed'] as const) {
      const ids = (await jobs.getRanges([state], 0, -1)).filter((id) => id.startsWith(`${run}.`));
      for (let start = 0; start < ids.length; start += JOBS_AT_ONCE)
        await Promise.all(ids.slice(start, start + JOBS_AT_ONCE).map((id) => jobs.remove(id)));
    }
    // That of one machine is every run's; that of a class is this run's, and goes with it, but for what a worker holds.
    if (name !== JOB_QUEUE && (await jobs.getActiveCount()) === 0) await jobs.obliterate();
  } finally {
    await jobs.close();
  }
}
