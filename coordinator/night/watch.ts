/** Looks after a night that nobody watches: is the target well, does the queue answer, does anything move. */
import { type Finding, finding } from '../../findings/finding.ts';
import { durationText } from '../show/words.ts';
import type { Making } from './making.ts';
import type { Target } from './target.ts';

export interface WatchRequest {
  readonly making: Making;
  readonly target: Target;
  readonly patienceSeconds: number;
  readonly stallSeconds: number;
  /** Bytes that what is made at once may need. */
  reserveBytes(): number;
  workersAtWork(): Promise<number | null>;
}

export interface WatchEvents {
  /** Nothing new is begun until `recovered`. */
  trouble(told: Finding): void;
  recovered(): void;
  /** The night cannot go on. */
  lost(told: Finding): void;
  log(message: string, fields: Record<string, unknown>): void;
}

export interface Watch {
  /** A report said so: look now. */
  placeTrouble(told: Finding): void;
  /** Looks now; while it is not well, nothing new is begun. */
  isTargetWell(): Promise<boolean>;
  /** A job came to its end: the target takes what is written. */
  jobOver(): void;
  stop(): void;
}

const TARGET_MILLISECONDS = 2_000;
const SWEEP_MILLISECONDS = 5_000;
const STILL_MILLISECONDS = 5_000;
/** A target that looks well and on which job after job fails all the same. */
const TROUBLES_WHILE_WELL = 20;

/**
 * How long nothing may move: at least as long as an encoder may stand still before it is killed and tried again twice,
 * or the night would end before the worker can help itself. Seconds.
 */
function stillLimit(patienceSeconds: number, stallSeconds: number): number {
  return Math.max(patienceSeconds, 3 * stallSeconds + 60);
}

export function startWatch(request: WatchRequest, events: WatchEvents): Watch {
  const { making } = request;
  let trouble: { told: Finding; since: number } | null = null;
  let troublesWhileWell = 0;
  let stopped = false;

  const look = async (): Promise<void> => {
    const state = await request.target.look(request.reserveBytes());
    if (stopped) return;
    if (state.trouble === null) {
      if (trouble === null) return;
      trouble = null;
      events.recovered();
      await making.goOn();
      return;
    }
    if (trouble === null) {
      trouble = { told: state.trouble, since: performance.now() };
      if (making.unfinished > 0) events.trouble(state.trouble);
      await making.holdBack();
    }
    if (
      making.unfinished > 0 &&
      making.active === 0 &&
      performance.now() - trouble.since > request.patienceSeconds * 1000
    )
      events.lost(trouble.told);
  };

  const still = async (): Promise<void> => {
    const limit = stillLimit(request.patienceSeconds, request.stallSeconds);
    const seconds = (performance.now() - making.lastSign) / 1000;
    if (making.unfinished === 0 || trouble !== null) return;
    const workers = seconds > request.patienceSeconds ? await request.workersAtWork() : null;
    if (stopped) return;
    // The farm's workers may only be late: patience, no more.
    if (workers === 0)
      events.lost(
        finding(
          'workers-absent',
          `${making.unfinished} jobs wait, no worker for ${durationText(seconds)}`,
          'at least one worker on the queue',
        ),
      );
    else if (seconds > limit)
      events.lost(
        finding(
          'no-progress',
          `nothing moved for ${durationText(seconds)}, ${making.unfinished} jobs open, ${making.active} at work`,
          `a sign of life every ${durationText(limit)}`,
        ),
      );
  };

  /** One at a time: a question that hangs must not pile up others behind it. */
  const every = (milliseconds: number, name: string, act: () => Promise<void>): NodeJS.Timeout => {
    let busy = false;
    return setInterval(() => {
      if (busy || stopped) return;
      busy = true;
      act()
        .catch((error: unknown) => events.log(`watch: ${name}`, { error: String(error) }))
        .finally(() => {
          busy = false;
        });
    }, milliseconds);
  };
  const timers = [
    every(TARGET_MILLISECONDS, 'target', look),
    every(SWEEP_MILLISECONDS, 'sweep', () => (making.unfinished > 0 ? making.sweep() : Promise.resolve())),
    every(STILL_MILLISECONDS, 'stillness', still),
  ];

  return {
    placeTrouble(told) {
      if (trouble === null) troublesWhileWell += 1;
      events.log('the target refused a job', { found: told.found, code: told.code });
      if (troublesWhileWell > TROUBLES_WHILE_WELL) events.lost(told);
      look().catch((error: unknown) => events.log('watch: target', { error: String(error) }));
    },
    async isTargetWell() {
      await look();
      return trouble === null;
    },
    jobOver() {
      troublesWhileWell = 0;
    },
    stop() {
      stopped = true;
      for (const timer of timers) clearInterval(timer);
    },
  };
}
