/** How the night stands, for whoever shows it. Nothing is decided by it. */
import { jobKey, type NamedJob } from '../../ledger/job.ts';
import type { JobPhase, JobProgress } from '../../ledger/queue.ts';

export const phases = ['waiting', 'reading', 'measuring', 'making', 'ready', 'held'] as const;
export type Phase = (typeof phases)[number];

export interface RollProgress {
  readonly roll: string;
  readonly phase: Phase;
  readonly bytesRead: number;
  readonly bytesTotal: number;
  readonly clips: number;
  readonly clipsMeasured: number;
  /** Clips of which something is to be made. */
  readonly jobs: number;
  /** Of these, those of which all of it is over. */
  readonly jobsOver: number;
  /** Of two jobs of one clip both. */
  readonly frames: number;
  /** Of jobs that are over all of theirs, of the others those made so far. */
  readonly framesMade: number;
  /** Jobs behind their last frame that are not over: each is checked or published. */
  readonly afterwards: readonly {
    readonly phase: Exclude<JobPhase, 'make'>;
    readonly frames: number;
    readonly total: number;
  }[];
}

/** A clip that a worker has in hand. */
export interface WorkingProgress {
  readonly roll: string;
  readonly clip: string;
  readonly phase: JobPhase;
  readonly frames: number;
  readonly total: number;
}

export interface RunProgress {
  setPhase(roll: string, phase: Phase): void;
  reading(roll: string, bytesRead: number, bytesTotal: number): void;
  measuring(roll: string, clipsMeasured: number, clips: number): void;
  making(roll: string, jobs: readonly NamedJob[]): void;
  progress(job: NamedJob, progress: JobProgress): void;
  over(job: NamedJob): void;
  /** A segment that an earlier run made. */
  lies(job: NamedJob): void;
  rolls(): RollProgress[];
  /** In the order of the rolls. */
  working(): WorkingProgress[];
  /** Frames a second over the last half minute, of all workers; null while nothing is known. */
  rate(): number | null;
}

/** As small as it can be: of a night of many clips all stay here. */
class Item {
  made = 0;
  over = false;
  told: JobProgress | null = null;
  /** By segment of a clip that is cut, frames made. */
  parts: Map<number, number> | null = null;
  /** Id of the clip. */
  readonly clip: string;
  readonly total: number;

  constructor(clip: string, total: number) {
    this.clip = clip;
    this.total = total;
  }
}

const WINDOW_MILLISECONDS = 30_000;

export function newRunProgress(
  rolls: readonly string[],
  now: () => number = () => performance.now(),
): RunProgress {
  type Entry = {
    -readonly [Key in keyof Omit<
      RollProgress,
      'frames' | 'framesMade' | 'jobsOver' | 'jobs' | 'afterwards'
    >]: RollProgress[Key];
  } & { made: Map<string, Item> };
  const entries = new Map<string, Entry>(
    rolls.map((roll) => [
      roll,
      { roll, phase: 'waiting', bytesRead: 0, bytesTotal: 0, clips: 0, clipsMeasured: 0, made: new Map() },
    ]),
  );
  const steps: { at: number; frames: number }[] = [];
  const entry = (roll: string): Entry => {
    const found = entries.get(roll);
    if (found === undefined) throw new RangeError(`no roll ${roll} on the board`);
    return found;
  };
  const advance = (job: NamedJob, to: number, over: boolean): void => {
    const item = entry(job.roll).made.get(jobKey(job));
    if (item === undefined || item.over) return;
    // A second attempt begins again: only frames that were not there before count as made.
    if (to > item.made) steps.push({ at: now(), frames: to - item.made });
    item.made = Math.max(item.made, to);
    item.over = over;
    // Of a night of many clips all stay here.
    if (over) item.told = null;
    while (steps.length > 0 && (steps[0]?.at ?? 0) < now() - WINDOW_MILLISECONDS) steps.shift();
  };
  return {
    setPhase: (roll, phase) => void (entry(roll).phase = phase),
    reading: (roll, bytesRead, bytesTotal) => void Object.assign(entry(roll), { bytesRead, bytesTotal }),
    measuring: (roll, clipsMeasured, clips) => void Object.assign(entry(roll), { clipsMeasured, clips }),
    making: (roll, jobs) => {
      // Of a clip that is cut the job that joins it has all of its frames.
      for (const job of jobs)
        if (job.segment === undefined)
          entry(roll).made.set(jobKey(job), new Item(job.clip.id, job.span.count));
    },
    progress: (job, progress) => {
      const item = entry(job.roll).made.get(jobKey(job));
      const frames = progress.phase === 'make' ? Math.min(progress.frames, job.span.count) : job.span.count;
      if (item !== undefined && job.segments !== undefined) {
        // What joins makes no frame.
        if (job.segment === undefined) {
          item.told = progress;
          return;
        }
        item.parts ??= new Map();
        item.parts.set(job.segment, Math.max(frames, item.parts.get(job.segment) ?? 0));
        const made = [...item.parts.values()].reduce((sum, one) => sum + one, 0);
        item.told = { ...progress, frames: made, total: item.total };
        advance(job, made, false);
        return;
      }
      if (item !== undefined) item.told = progress;
      advance(job, frames, false);
    },
    over: (job) => {
      if (job.segment === undefined) advance(job, job.span.count, true);
    },
    lies: (job) => {
      const item = entry(job.roll).made.get(jobKey(job));
      if (item === undefined || job.segment === undefined) return;
      item.parts ??= new Map();
      item.parts.set(job.segment, job.span.count);
      // Not by this run: its speed is not that of those frames.
      item.made = [...item.parts.values()].reduce((sum, one) => sum + one, 0);
    },
    rolls: () =>
      [...entries.values()].map(({ made, ...rest }) => {
        const items = [...made.values()];
        return {
          ...rest,
          jobs: clipsOf(items),
          jobsOver: clipsOf(items) - clipsOf(items.filter((item) => !item.over)),
          frames: items.reduce((sum, item) => sum + item.total, 0),
          framesMade: items.reduce((sum, item) => sum + item.made, 0),
          afterwards: items.flatMap(({ over, told }) =>
            over || told === null || told.phase === 'make'
              ? []
              : [{ phase: told.phase, frames: Math.min(told.frames, told.total), total: told.total }],
          ),
        };
      }),
    working: () =>
      [...entries.values()].flatMap(({ roll, made }) =>
        [...made.values()].flatMap(({ clip, over, told, total }) =>
          over || told === null
            ? []
            : [
                {
                  roll,
                  clip,
                  phase: told.phase,
                  frames: told.frames,
                  total: told.phase === 'make' ? total : told.total,
                },
              ],
        ),
      ),
    rate: () => {
      const recent = steps.filter((step) => step.at >= now() - WINDOW_MILLISECONDS);
      const first = recent[0];
      if (first === undefined || recent.length < 2) return null;
      const seconds = (now() - first.at) / 1000;
      return seconds <= 0 ? null : recent.slice(1).reduce((sum, step) => sum + step.frames, 0) / seconds;
    },
  };
}

const clipsOf = (items: readonly Item[]): number => new Set(items.map(({ clip }) => clip)).size;
