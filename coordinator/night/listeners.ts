/** What a run does about what its parts tell: says it, shows it, ends. */
import { printable } from '../../files/names.ts';
import { type Finding, FindingError, finding } from '../../findings/finding.ts';
import { attemptText } from '../../ledger/attempts.ts';
import { jobKey } from '../../ledger/job.ts';
import type { RunProgress } from '../progress/run-progress.ts';
import type { Reservation } from '../roll/space.ts';
import type { Engine } from './engine.ts';
import { isEnd } from './job-states.ts';
import type { JobTracker } from './job-tracker.ts';
import type { Places } from './places.ts';
import type { Interrupts, NightRequest, NightUi } from './request.ts';
import type { RunState } from './run-state.ts';
import type { Sweeping } from './sweeping.ts';

/** What the run cannot go on after. */
export function listenForLoss({ events, halt, run }: RunState, ui: Pick<NightUi, 'report'>): void {
  events.on('lost', (found, saidLater) => {
    if (!halt(found)) return;
    if (!saidLater) ui.report(found);
    events.emit('stop-now');
  });
  events.on('superseded', () => {
    const found = `run ${run} is not the last one of this night`;
    events.emit('lost', finding('run-superseded', found, 'one run of a night at a time'), false);
  });
}

/** Another run has taken the work folder or the delivery over. */
export function listenForPlaces({ events }: RunState, { lost }: Pick<Places, 'lost'>): void {
  const onLost = (): void => void events.emit('lost', lost.reason as Finding, false);
  if (lost.aborted) onLost();
  else lost.addEventListener('abort', onLost, { once: true });
}

/** Without queue and workers nothing can be made: the run fails at once, whatever is read and measured meanwhile. */
export function listenForQueue({ events }: RunState, { ready }: Pick<Engine, 'ready'>): void {
  ready.catch((error: unknown) => {
    const [known] = error instanceof FindingError ? error.findings : [];
    events.emit(
      'lost',
      known ?? finding('store-failed', String(error), 'a queue that answers'),
      known !== undefined,
    );
  });
}

export function listenForJobs(
  { events }: RunState,
  runProgress: RunProgress,
  reservation: Reservation,
): void {
  events.on('job-progress', runProgress.progress);
  events.on('job-moved', ({ job, from, to }) => {
    if (from === 'pending' && to === 'unjoined') runProgress.lies(job);
    if (!isEnd(to)) return;
    reservation.release(job);
    runProgress.over(job);
  });
}

/** What a worker that was lost left behind is looked for when its job is seen to begin again. */
export function listenForTheLost({ events }: RunState, sweeping: Pick<Sweeping, 'soon'>): void {
  const lost = new Map<string, number>();
  events.on('job-progress', (job, { workersLost = 0 }) => {
    const key = `${job.roll}/${jobKey(job)}`;
    if (workersLost <= (lost.get(key) ?? 0)) return;
    lost.set(key, workersLost);
    sweeping.soon();
  });
}

/** Says once that a job begins again, and why. */
export function listenForRepeats({ events, logger }: RunState, ui: Pick<NightUi, 'say'>): void {
  const said = new Map<string, number>();
  events.on('job-progress', (job, { attempt = 1, workersLost = 0 }) => {
    const key = `${job.roll}/${jobKey(job)}`;
    const text = attemptText({ attempt, workersLost });
    if (text === null || (said.get(key) ?? 1) >= attempt) return;
    said.set(key, attempt);
    logger.warn({ roll: job.roll, clip: job.clip.id, attempt, workersLost }, 'a job begins again');
    ui.say(`${printable(job.roll)}, ${printable(job.clip.name)}: ${text}`);
  });
}

export function listenForTarget(
  { events, logger }: RunState,
  tracker: Pick<JobTracker, 'unfinished'>,
  { patienceSeconds }: Pick<NightRequest, 'patienceSeconds'>,
  ui: Pick<NightUi, 'report' | 'say'>,
): void {
  events.on('target-trouble', (found) => {
    if (tracker.unfinished === 0) return;
    logger.warn({ finding: found }, 'the target is in trouble: nothing new is begun');
    ui.report(found);
    ui.say(`Waiting up to ${patienceSeconds} s for the delivery drive. Running jobs continue.`);
  });
  events.on('target-well', () => ui.say('The delivery drive is back. Continuing.'));
}

export interface Interruptible {
  readonly interrupts: Interrupts;
  readonly run: RunState;
  readonly engine: Pick<Engine, 'finishWorkers'>;
  readonly tracker: Pick<JobTracker, 'finish' | 'giveUp'>;
  readonly ui: Pick<NightUi, 'say'>;
}

const interrupted = (found: string): Finding => finding('run-interrupted', found, 'a run to its end');

/** Once: what runs is finished. Twice: everything ends now. */
export function listenForInterrupts({ interrupts, run, engine, tracker, ui }: Interruptible): void {
  const onFirst = (): void => {
    if (!run.halt(interrupted('an interrupt'))) return;
    ui.say('Interrupted: finishing running jobs. Press Ctrl-C again to stop now.');
    // Both at once: a worker that is asked to end may otherwise take one more job while the queue is emptied.
    Promise.all([tracker.finish(), engine.finishWorkers()])
      .catch((error: unknown) => run.logger.error({ error: String(error) }, 'finishing'))
      .finally(() => tracker.giveUp());
  };
  const onSecond = (): void => {
    ui.say('Stopping now.');
    run.halt(interrupted('two interrupts'));
    run.events.emit('stop-now');
  };
  if (interrupts.first.aborted) onFirst();
  interrupts.first.addEventListener('abort', onFirst, { once: true });
  interrupts.second.addEventListener('abort', onSecond, { once: true });
}
