/** What a job is given, how it reports where it is, and how it fails. */
import type { Finding } from '../findings/finding.ts';
import type { Job } from '../ledger/job.ts';
import type { Mounts } from '../ledger/portable.ts';
import type { JobProgress } from '../ledger/queue.ts';
import type { Toolchain } from '../ledger/toolchain.ts';
import type { MediaTools } from '../process/locate.ts';
import type { Failure } from './classify.ts';

export interface JobContext {
  readonly tools: MediaTools;
  readonly toolchain: Toolchain;
  readonly threads: number;
  readonly stallMilliseconds: number;
  readonly signal: AbortSignal;
  readonly attempt: number;
  /** Workers that were lost at this job: each died, or did not answer for longer than its lock. None when absent. */
  readonly workersLost?: number;
  /** On how many machines. None when absent. */
  readonly machinesLost?: number;
  /** Id of this machine, where another one could do the job; null: none can, and whatever keeps it from its end is written down. */
  readonly machine: string | null;
  /** By which records name places; null, or absent: by the paths of this machine. */
  readonly mounts?: Mounts;
  /** Seconds from the end of the job before it in the same place of this worker until this one was taken. Nobody counted when absent. */
  readonly waited?: number | null;
  /** No further attempt follows: a failure is written down for good. */
  readonly lastAttempt: boolean;
  readonly onProgress: (progress: JobProgress) => void;
  /** Throws when the job is not ours any more (lock lost, night taken over). Asked right before a final name is given. */
  readonly fence: () => Promise<void>;
}

/** What of it a maker of deliverables goes by. */
export type MakingContext = Pick<JobContext, 'tools' | 'threads' | 'stallMilliseconds' | 'signal'>;

/** What kept a job from its end. `again`: the queue should try once more. */
export class JobFailure extends Error {
  readonly findings: readonly Finding[];
  readonly retryable: boolean;
  constructor(failure: Failure) {
    super(failure.findings.map((item) => `${item.code}: ${item.found}`).join('; '));
    this.name = 'JobFailure';
    this.findings = failure.findings;
    this.retryable = failure.retryable;
  }
}

/** The job is not for this machine: it goes back uncounted, and nothing is written down of the clip. */
export class NotForThisMachine extends Error {
  readonly finding: Finding;
  constructor(found: Finding) {
    super(`${found.code}: ${found.found}`);
    this.name = 'NotForThisMachine';
    this.finding = found;
  }
}

export type Deliverable = Job['deliverables'][number];

/** Reports the frames that are done of `total`, and their rate since now. */
export function progressOf(
  phase: JobProgress['phase'],
  total: number,
  { onProgress }: JobContext,
): (frames: number) => void {
  const started = performance.now();
  return (frames) =>
    onProgress({
      phase,
      frames,
      total,
      framesPerSecond: (frames * 1000) / Math.max(1, performance.now() - started),
    });
}
