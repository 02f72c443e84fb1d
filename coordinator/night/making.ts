/**
 * From jobs to results on disk. Every job is in one of four places: held back (not in the queue), queued, active,
 * or over. The queue's events and, every few seconds, its answer to a question move jobs between them; a job is over
 * when its reports stand on disk, or when it was given up.
 */
import { type Finding, finding } from '../../findings/finding.ts';
import type { Job } from '../../ledger/job.ts';
import type { JobProgress } from '../../ledger/queue.ts';
import { afterEnding, type Ending } from '../dispatch/ending.ts';
import { jobId } from '../dispatch/flow.ts';
import type { NightQueue, QueueHints } from '../dispatch/night-queue.ts';
import type { DeliverableOnDisk } from '../gate/input.ts';
import { isSettled, placeTrouble, readResults } from './settled.ts';

export interface Work {
  readonly job: Job;
  /** 1 runs first. */
  readonly priority: number;
}

export interface MakingEvents {
  /** For show: a job moved on. */
  progress(job: Job, progress: JobProgress): void;
  over(job: Job): void;
  /** A report of this run says that the target cannot be written. */
  placeTrouble(told: Finding): void;
  /** Asks the target itself: a volume that is gone takes the reports with it that would say so. */
  targetWell(): Promise<boolean>;
  /** A later run of the same night has taken over. */
  superseded(): void;
  log(message: string, fields: Record<string, unknown>): void;
}

export interface Making {
  /** Resolves when every job is over or given up; tells what was given up, and why. */
  make(roll: string, work: readonly Work[]): Promise<Finding[]>;
  /** Takes back what nobody works on, until `goOn`. */
  holdBack(): Promise<void>;
  goOn(): Promise<void>;
  /** Nothing new is begun; `make` resolves when what is active has ended. */
  finish(told: Finding): Promise<void>;
  /** Nothing is waited for any more. */
  giveUp(told: Finding): void;
  /** Asks the queue about every job that is not over. */
  sweep(): Promise<void>;
  readonly unfinished: number;
  readonly active: number;
  /** performance.now() of the last sign of life. */
  readonly lastSign: number;
  readonly hints: QueueHints;
}

interface Tracked {
  readonly work: Work;
  readonly number: number;
  readonly batch: Batch;
  id: string;
  /** `sending`: on its way into the queue, which cannot be asked about it yet. */
  place: 'held-back' | 'sending' | 'queued' | 'active' | 'over';
  queueings: number;
  endings: number;
  losses: number;
  /** A look at the disk is under way: a second hint about the same ending changes nothing. */
  looking: boolean;
}

interface Batch {
  readonly roll: string;
  open: number;
  readonly given: Finding[];
  done(findings: Finding[]): void;
}

export function startMaking(
  run: string,
  queue: () => NightQueue,
  events: MakingEvents,
  read: (job: Job) => Promise<DeliverableOnDisk[]> = readResults,
): Making {
  const byId = new Map<string, Tracked>();
  const all: Tracked[] = [];
  let holding = false;
  let finishing: Finding | null = null;
  let lastSign = performance.now();

  const sign = (): void => {
    lastSign = performance.now();
  };

  const close = (tracked: Tracked, given: Finding | null): void => {
    if (tracked.place === 'over') return;
    tracked.place = 'over';
    byId.delete(tracked.id);
    if (given !== null) tracked.batch.given.push(given);
    events.over(tracked.work.job);
    tracked.batch.open -= 1;
    if (tracked.batch.open === 0) tracked.batch.done(tracked.batch.given);
  };

  const subject = (tracked: Tracked) => ({ roll: tracked.batch.roll, clip: tracked.work.job.clip.id });

  /** What cannot be in the queue now waits, or is over when nothing is begun any more. */
  const keepBack = (list: readonly Tracked[]): void => {
    for (const tracked of list) {
      if (tracked.place === 'over') continue;
      byId.delete(tracked.id);
      tracked.place = 'held-back';
      if (finishing !== null) close(tracked, null);
    }
  };

  const withdrawQueued = async (): Promise<void> => {
    const waiting = [...byId.values()].filter((tracked) => tracked.place === 'queued');
    const taken = new Set(await queue().withdraw(waiting.map((tracked) => tracked.id)));
    keepBack(waiting.filter((tracked) => taken.has(tracked.id)));
  };

  const enqueue = async (list: readonly Tracked[]): Promise<void> => {
    const open = list.filter((tracked) => tracked.place !== 'over');
    if (holding || finishing !== null) {
      keepBack(open);
      return;
    }
    const rolls = new Map<string, Tracked[]>();
    for (const tracked of open) {
      byId.delete(tracked.id);
      tracked.queueings += 1;
      tracked.id = jobId(run, tracked.number, tracked.queueings);
      tracked.place = 'sending';
      byId.set(tracked.id, tracked);
      rolls.set(tracked.batch.roll, [...(rolls.get(tracked.batch.roll) ?? []), tracked]);
    }
    for (const [roll, group] of rolls) {
      await queue().add(
        roll,
        group.map(({ id, work }) => ({ id, job: work.job, priority: work.priority })),
      );
      for (const tracked of group) if (tracked.place === 'sending') tracked.place = 'queued';
    }
    // Somebody may have called a halt while they were on their way.
    if (holding || finishing !== null) await withdrawQueued();
  };

  const ended = async (tracked: Tracked, how: Ending, reason: string | null): Promise<void> => {
    if (tracked.place === 'over' || tracked.looking) return;
    tracked.looking = true;
    sign();
    try {
      const { job } = tracked.work;
      const disk = await read(job);
      const trouble = placeTrouble(job, disk);
      const settled = isSettled(job, disk);
      if (!settled && trouble[0] !== undefined) events.placeTrouble(trouble[0]);
      // The place failed, not the job: it waits with the others until the place is well again.
      else if (!settled && !(await events.targetWell()))
        events.log('a job ended while the target was not well', { id: tracked.id });
      else if (!settled && how === 'lost') tracked.losses += 1;
      else if (!settled) tracked.endings += 1;
      const next = afterEnding(settled, tracked);
      events.log('a job ended', {
        id: tracked.id,
        clip: job.clip.id,
        roll: tracked.batch.roll,
        how,
        reason,
        next,
      });
      if (next === 'done') close(tracked, null);
      else if (next === 'give-up')
        close(
          tracked,
          finding(
            'job-without-result',
            `${tracked.queueings} times queued; last: ${how}${reason === null ? '' : `, ${reason}`}`,
            'a report of every deliverable',
            subject(tracked),
          ),
        );
      else await enqueue([tracked]);
    } finally {
      tracked.looking = false;
    }
  };

  const hint = (id: string, act: (tracked: Tracked) => void): void => {
    sign();
    const tracked = byId.get(id);
    if (tracked !== undefined) act(tracked);
  };
  const lookAt = (tracked: Tracked, how: Ending, reason: string | null): void => {
    ended(tracked, how, reason).catch((error: unknown) =>
      events.log('a look at the disk failed; the next sweep looks again', {
        id: tracked.id,
        error: String(error),
      }),
    );
  };

  const sweep = async (): Promise<void> => {
    if (!(await queue().isOurs())) {
      events.superseded();
      return;
    }
    const asked = [...byId.values()].filter(
      (tracked) => tracked.place === 'queued' || tracked.place === 'active',
    );
    const states = await queue().statesOf(asked.map((tracked) => tracked.id));
    for (const tracked of asked) {
      const state = states.get(tracked.id);
      if (byId.get(tracked.id) !== tracked) continue;
      if (state === 'active') tracked.place = 'active';
      else if (state === 'completed' || state === 'failed') await ended(tracked, state, null);
      else if (state === 'unknown' || state === undefined) await ended(tracked, 'lost', null);
      else tracked.place = 'queued';
    }
  };

  return {
    make(roll, work) {
      return new Promise<Finding[]>((resolve, reject) => {
        if (work.length === 0) {
          resolve([]);
          return;
        }
        const batch: Batch = { roll, open: work.length, given: [], done: resolve };
        const first = all.length;
        const tracked = work.map(
          (item, index): Tracked => ({
            work: item,
            number: first + index,
            batch,
            id: '',
            place: 'held-back',
            queueings: 0,
            endings: 0,
            losses: 0,
            looking: false,
          }),
        );
        all.push(...tracked);
        sign();
        enqueue(tracked).catch(reject);
      });
    },
    async holdBack() {
      holding = true;
      await withdrawQueued();
    },
    async goOn() {
      holding = false;
      sign();
      await enqueue(all.filter((tracked) => tracked.place === 'held-back'));
    },
    async finish(told) {
      finishing = told;
      keepBack(all.filter((tracked) => tracked.place === 'held-back'));
      await withdrawQueued();
    },
    giveUp(told) {
      finishing ??= told;
      for (const tracked of all) close(tracked, null);
    },
    sweep,
    get unfinished() {
      return all.filter((tracked) => tracked.place !== 'over').length;
    },
    get active() {
      return all.filter((tracked) => tracked.place === 'active').length;
    },
    get lastSign() {
      return lastSign;
    },
    hints: {
      active: (id) => hint(id, (tracked) => void (tracked.place = 'active')),
      progress: (id, progress) =>
        hint(id, (tracked) => {
          tracked.place = 'active';
          events.progress(tracked.work.job, progress);
        }),
      ended: (id, how, reason) => hint(id, (tracked) => lookAt(tracked, how, reason)),
      rollEnded: () => {
        // Every job of a flow is over in the queue's eyes: whatever event was missed is found now.
        sweep().catch((error: unknown) =>
          events.log('the queue could not be asked; the next sweep asks again', { error: String(error) }),
        );
      },
      trouble: (error) => events.log('connection to the queue', { error: String(error) }),
    },
  };
}
