/** One job under way: what its steps decide from and write their reports with. */
import type { Job } from '../ledger/job.ts';
import type { Deliverable, JobContext } from './context.ts';
import type { Found } from './found.ts';
import type { Beside } from './beside.ts';
import type { JobClock } from './job-clock.ts';

export interface JobRun {
  readonly job: Job;
  readonly context: JobContext;
  /** ISO 8601 UTC. */
  readonly startedAt: string;
  /** What was there when the job began, in the order of its deliverables. */
  readonly found: readonly Found[];
  /** Those that were published, or whose failure was written down, by now. */
  readonly concluded: Set<Deliverable>;
  /** What the system said of the clip's files when the job began (claim.ts). */
  readonly sourceSeen: string;
  readonly clock: JobClock;
  readonly beside: Pick<Beside, 'mean'>;
}

/** XXH128 of older things of ours that may lie under the deliverable's name, by what was found when the job began. */
export function oursOf({ found }: Pick<JobRun, 'found'>, deliverable: Deliverable): readonly string[] {
  return found.find((one) => one.deliverable === deliverable)?.ours ?? [];
}
