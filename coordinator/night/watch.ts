/** Looks after a run that nobody watches: is the target well, does the queue answer, does anything move. */
import { type Finding, finding } from '../../findings/finding.ts';
import { durationText } from '../show/words.ts';
import { isEnd } from './job-states.ts';
import type { Machines } from './machines.ts';
import type { JobTracker } from './job-tracker.ts';
import type { RunEvents } from './run-events.ts';
import type { TargetCondition } from './target-condition.ts';

export interface WatchRequest {
  readonly tracker: Pick<JobTracker, 'unfinished' | 'atWork' | 'lastSign' | 'reconcile' | 'openQueues'>;
  readonly target: TargetCondition;
  readonly events: RunEvents;
  readonly patienceSeconds: number;
  readonly stallSeconds: number;
  /** That take from these queues. */
  workersAtWork(queues: readonly string[]): Promise<number | null>;
  /** Of a farm; null: this machine is alone. */
  machines(): Pick<Machines, 'look' | 'troubles'> | null;
  log(message: string, fields: Record<string, unknown>): void;
}

export interface Watch {
  stop(): void;
}

const TARGET_MILLISECONDS = 2_000;
const RECONCILE_MILLISECONDS = 5_000;
const STILL_MILLISECONDS = 5_000;
const MACHINES_MILLISECONDS = 3_000;
/** A target that looks well and on which job after job fails all the same. */
const REFUSALS_WHILE_WELL = 20;

/**
 * How long nothing may move: at least as long as an encoder may stand still before it is killed and tried again twice,
 * or the run would end before the worker can help itself. Seconds.
 */
function stillLimit(patienceSeconds: number, stallSeconds: number): number {
  return Math.max(patienceSeconds, 3 * stallSeconds + 60);
}

export function startWatch(request: WatchRequest): Watch {
  const { tracker, target, events, log } = request;
  let refusalsWhileWell = 0;
  let stopped = false;
  const lost = (found: Finding): void => {
    if (!stopped) events.emit('lost', found, false);
  };

  const lookAtTarget = async (): Promise<void> => {
    await target.look();
    const { failure } = target;
    if (failure === null || tracker.unfinished === 0 || tracker.atWork > 0) return;
    if (performance.now() - failure.since > request.patienceSeconds * 1000) lost(failure.found);
  };
  const reconcile = async (): Promise<void> => {
    if (tracker.unfinished > 0) await tracker.reconcile();
  };
  const lookForMovement = async (): Promise<void> => {
    const found = await whyLost(request);
    if (found !== null) lost(found);
  };

  const failed = (name: string) => (error: unknown) => log(`watch: ${name}`, { error: String(error) });
  /** One at a time: a question that hangs must not pile up others behind it. */
  const every = (milliseconds: number, name: string, act: () => Promise<void>): NodeJS.Timeout => {
    let busy = false;
    return setInterval(() => {
      if (busy || stopped) return;
      busy = true;
      act()
        .catch(failed(name))
        .finally(() => {
          busy = false;
        });
    }, milliseconds);
  };

  events.on('target-refused', (found) => {
    if (target.failure === null) refusalsWhileWell += 1;
    log('the target refused a job', { found: found.found, code: found.code });
    if (refusalsWhileWell > REFUSALS_WHILE_WELL) lost(found);
    lookAtTarget().catch(failed('target'));
  });
  events.on('job-moved', ({ to }) => {
    // The target takes what is written.
    if (isEnd(to)) refusalsWhileWell = 0;
  });
  const timers = [
    every(TARGET_MILLISECONDS, 'target', lookAtTarget),
    every(RECONCILE_MILLISECONDS, 'reconciling', reconcile),
    every(STILL_MILLISECONDS, 'stillness', lookForMovement),
    every(MACHINES_MILLISECONDS, 'machines', async () => await request.machines()?.look()),
  ];
  return {
    stop() {
      stopped = true;
      for (const timer of timers) clearInterval(timer);
    },
  };
}

/** null: something moves, or there is nothing to wait for, or the target is what is waited for. */
async function whyLost({
  tracker,
  target,
  patienceSeconds,
  stallSeconds,
  workersAtWork,
  machines,
}: WatchRequest): Promise<Finding | null> {
  const seconds = (performance.now() - tracker.lastSign) / 1000;
  if (tracker.unfinished === 0 || target.failure !== null) return null;
  // The farm's workers may only be late: patience, no more.
  const workers = seconds > patienceSeconds ? await workersAtWork(tracker.openQueues) : null;
  const troubles = workers === 0 ? (machines()?.troubles() ?? []) : [];
  if (troubles.length > 0)
    return finding(
      'no-machine-fits',
      `${tracker.unfinished} jobs wait, no fit machine for ${durationText(seconds)}; ${troubles.map(({ file, found }) => `${file}: ${found}`).join('; ')}`,
      'at least one machine that is fit for them',
    );
  if (workers === 0)
    return finding(
      'workers-absent',
      `${tracker.unfinished} jobs wait, no worker for ${durationText(seconds)}`,
      'at least one worker on the queue',
    );
  const limit = stillLimit(patienceSeconds, stallSeconds);
  return seconds > limit
    ? finding(
        'no-progress',
        `nothing moved for ${durationText(seconds)}, ${tracker.unfinished} jobs open, ${tracker.atWork} at work`,
        `a sign of life every ${durationText(limit)}`,
      )
    : null;
}
