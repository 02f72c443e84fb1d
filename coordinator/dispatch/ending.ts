/** What to do with a job that the queue has done with. Pure: the disk has been looked at before. */

/** How the queue let go of it. `lost`: it does not know the job any more. */
export type Ending = 'completed' | 'failed' | 'lost';

export interface JobHistory {
  /** How often it ended (completed or failed, after BullMQ's own attempts) without a result on disk, this time included. */
  readonly endings: number;
  /** How often the queue lost it, this time included. */
  readonly losses: number;
}

/** A job that ends without a result three times has something wrong with it; each ending stands for several attempts. */
const ENDINGS = 3;
/** A store that loses jobs loses all of them, again and again, through no fault of theirs. */
const LOSSES = 20;

/**
 * `settled`: every deliverable of the job has its report of this run, published or failed for good, whatever the queue says.
 * Without one the job is queued again, a bounded number of times.
 */
export function afterEnding(settled: boolean, history: JobHistory): 'done' | 'again' | 'give-up' {
  if (settled) return 'done';
  return history.endings < ENDINGS && history.losses < LOSSES ? 'again' : 'give-up';
}
