/** How jobs become BullMQ flows: a roll is the parent, its jobs the children. Pure. */
import type { FlowJob } from 'bullmq';
import type { Job } from '../../ledger/job.ts';
import { rollQueueOf } from '../../ledger/queue.ts';

export interface QueuedJob {
  /** Of the run and of this queueing alone: a flow that meets the id of another flow's finished child waits for ever, and adding an id again does nothing. */
  readonly id: string;
  readonly job: Job;
  /** The queue of its class. */
  readonly queue: string;
  /** 1 runs first. */
  readonly priority: number;
}

/** Redis stores this much with every job, and it travels with every claim: a movie's is about 8 KiB, a raw clip's with a table for every 16-bit code 500 KiB. */
export const JOB_BYTES_LIMIT = 1024 * 1024;
/** A flow is added as one transaction, during which Redis answers nobody else. */
export const CHILDREN_A_PARENT = 500;
const BYTES_A_PARENT = 32 * 1024 * 1024;
/** BullMQ takes priorities up to 2 097 151; a job without one would run before all that have one. */
const LOWEST_PRIORITY = 2_097_151;

/** Ids hold no name of a roll or clip: BullMQ refuses `:` in them, and numbers alone. */
export function jobId(run: string, number: number, queueing: number): string {
  return `${run}.j${number}.q${queueing}`;
}

/** Neighbours that go into one transaction. */
function parts(jobs: readonly QueuedJob[]): { start: number; count: number }[] {
  const found: { start: number; count: number; bytes: number }[] = [];
  for (const [index, { job }] of jobs.entries()) {
    const bytes = jobBytes(job);
    const last = found.at(-1);
    if (last === undefined || last.count === CHILDREN_A_PARENT || last.bytes + bytes > BYTES_A_PARENT)
      found.push({ start: index, count: 1, bytes });
    else {
      last.count += 1;
      last.bytes += bytes;
    }
  }
  return found;
}

function clipJobOf({ id, queue, job, priority }: QueuedJob): NonNullable<FlowJob['children']>[number] {
  return {
    name: 'clip',
    queueName: queue,
    data: job,
    opts: {
      jobId: id,
      priority: Math.min(Math.max(1, priority), LOWEST_PRIORITY),
      attempts: 3,
      backoff: { type: 'exponential', delay: 2_000 },
      // The roll goes on when one clip fails; without this it would wait for ever.
      ignoreDependencyOnFailure: true,
      // Kept until the run ends: with the job its parent's knowledge of it would vanish.
      removeOnComplete: false,
      removeOnFail: false,
      sizeLimit: JOB_BYTES_LIMIT,
      stackTraceLimit: 5,
    },
  };
}

export function flowsOf(run: string, roll: string, jobs: readonly QueuedJob[], queueing: string): FlowJob[] {
  const flows: FlowJob[] = [];
  for (const { start, count } of parts(jobs)) {
    flows.push({
      name: 'roll',
      queueName: rollQueueOf(run),
      data: { run, roll },
      opts: { jobId: `${run}.r${queueing}.p${start}` },
      children: jobs.slice(start, start + count).map(clipJobOf),
    });
  }
  return flows;
}

export function jobBytes(job: Job): number {
  return Buffer.byteLength(JSON.stringify(job));
}
