/** Removes what a run put into the queue: its rolls with their jobs. Jobs that a worker holds are left; it drops them itself, since the night is no longer theirs. */
import { type JobType, Queue, type QueueOptions } from 'bullmq';
import { JOB_QUEUE, rollQueueOf } from '../../ledger/queue.ts';

const PARENT_STATES: JobType[] = [
  'waiting-children',
  'waiting',
  'active',
  'delayed',
  'prioritized',
  'completed',
  'failed',
];
const JOBS_AT_ONCE = 1_000;

/** `queues`: that its jobs lie in. */
export async function clearRun(queues: readonly string[], options: QueueOptions, run: string): Promise<void> {
  const rolls = new Queue(rollQueueOf(run), options);
  try {
    for (const parent of await rolls.getJobs(PARENT_STATES)) {
      await parent.removeUnprocessedChildren();
      // Refused while a child is held by a worker: the parent goes below all the same.
      await parent.remove({ removeChildren: true }).catch(() => undefined);
    }
    await rolls.obliterate({ force: true });
  } finally {
    await rolls.close();
  }
  for (const name of queues) await clearQueue(name, options, run);
}

async function clearQueue(name: string, options: QueueOptions, run: string): Promise<void> {
  const jobs = new Queue(name, { ...options, skipMetasUpdate: true });
  try {
    await removeEnded(jobs, run);
    // That of one machine is every run's; that of a class is this run's, and goes with it, but for what a worker holds.
    if (name !== JOB_QUEUE && (await jobs.getActiveCount()) === 0) await jobs.obliterate();
  } finally {
    await jobs.close();
  }
}

/** Finished jobs whose parent was already gone. */
async function removeEnded(jobs: Queue, run: string): Promise<void> {
  for (const state of ['completed', 'failed', 'prioritized', 'delayed'] as const) {
    const ids = (await jobs.getRanges([state])).filter((id) => id.startsWith(`${run}.`));
    for (let start = 0; start < ids.length; start += JOBS_AT_ONCE)
      await Promise.all(ids.slice(start, start + JOBS_AT_ONCE).map((id) => jobs.remove(id)));
  }
}
