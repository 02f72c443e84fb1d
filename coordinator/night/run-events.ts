/** What the parts of a run tell each other. Each part takes the emitter, says what it has to say, and listens to what it needs. */
import { EventEmitter } from 'node:events';
import type { Finding } from '../../findings/finding.ts';
import type { NamedJob } from '../../ledger/job.ts';
import type { JobProgress } from '../../ledger/queue.ts';
import type { QueueListeners } from '../dispatch/night-queue.ts';
import type { JobState } from './job-states.ts';

export interface JobMoved {
  readonly job: NamedJob;
  readonly roll: string;
  readonly from: JobState;
  readonly to: JobState;
}

interface RunEventMap {
  /** From the queue: hints about a job id, never proof of work done. */
  'queue-active': [id: string];
  'queue-progress': [id: string, progress: JobProgress];
  'queue-ended': [id: string, how: 'completed' | 'failed', reason: string | null];
  'queue-trouble': [error: Error];
  /** The connection to the queue is there again. */
  'queue-back': [];
  /** The built-in Redis was started again. */
  'store-back': [];
  /** From the job tracker. */
  'job-moved': [moved: JobMoved];
  'job-progress': [job: NamedJob, progress: JobProgress];
  /** A report of this run says that the target did not take what was written. */
  'target-refused': [found: Finding];
  /** A later run of the same night has taken over. */
  superseded: [];
  /** From those who look at the target. */
  'target-trouble': [found: Finding];
  'target-well': [];
  /** Passes without anybody's help. */
  note: [found: Finding];
  /** The run cannot go on. `saidLater`: it is also what the run ends by throwing, and is said then. */
  lost: [found: Finding, saidLater: boolean];
  /** Whatever works for this run is to end at once. */
  'stop-now': [];
}
export type RunEvents = EventEmitter<RunEventMap>;

export function newRunEvents(): RunEvents {
  return new EventEmitter<RunEventMap>();
}

/** The queue's hints as events. */
export function hintsTo(events: RunEvents): QueueListeners {
  return {
    active: (id) => events.emit('queue-active', id),
    progress: (id, progress) => events.emit('queue-progress', id, progress),
    ended: (id, how, reason) => events.emit('queue-ended', id, how, reason),
    failure: (error) => events.emit('queue-trouble', error),
    back: () => events.emit('queue-back'),
  };
}
