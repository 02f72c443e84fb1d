/** What coordinator and worker agree on about the queue: names and keys. The queue carries; it remembers nothing that is not also on disk. */

/** BullMQ refuses `:` in queue names. */
export const JOB_QUEUE = 'rushlight-jobs';
export const ROLL_QUEUE = 'rushlight-rolls';
export const BULL_PREFIX = 'rushlight';

/** Holds the run that a night belongs to now; jobs of an older run of the same night are dropped. */
export function nightKey(night: string): string {
  return `rushlight:night:${night}`;
}
/** Set to make every worker end the night's jobs at once. */
export function cancelKey(run: string): string {
  return `rushlight:cancel:${run}`;
}

/** What a worker tells while it works (BullMQ progress), at most once in two seconds. */
export interface JobProgress {
  readonly phase: 'make' | 'check' | 'publish';
  readonly frames: number;
  readonly total: number;
  readonly framesPerSecond: number;
}
