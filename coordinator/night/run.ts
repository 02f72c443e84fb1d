/**
 * The night:
 *
 *   1. lock the work folder; store, tools and profiles come up beside each other
 *   2. find the rolls; workers start while the first roll is read
 *   3. each roll goes its way (roll.ts): the next is read while this one is made
 *   4. the watch (watch.ts) looks after target, queue and stillness
 *   5. every roll has its verdict; workers, queue, store and lock end in this order
 */
import { join } from 'node:path';
import pLimit from 'p-limit';
import { type Finding, FindingError, finding, holds } from '../../findings/finding.ts';
import type { Job } from '../../ledger/job.ts';
import type { DiscoveredRoll } from '../intake/index.ts';
import { acquireLock } from '../store/lock.ts';
import { newBoard } from '../progress/board.ts';
import { type Engine, startEngine } from './engine.ts';
import { makeDelivery } from '../roll/folders.ts';
import { openLog } from './log.ts';
import { newRun, nightOf } from './names.ts';
import { checkProfiles, prepare, toolsOf } from '../roll/prepare.ts';
import type { Interrupts, NightRequest, NightResult, NightUi, RollOutcome } from './request.ts';
import { type NightContext, nightOfRoll } from './roll.ts';
import { collisionsOf, findRolls } from '../roll/rolls.ts';
import { freshReservation } from '../roll/space.ts';
import { endRunning, tellRunning } from './running.ts';
import { openTarget } from './target.ts';
import { startWatch } from './watch.ts';
import { defaultSlots, defaultWorkers } from './workers.ts';

/** Throws FindingError when the night cannot begin (2: usage, 3: machine) or, rarely, not go on. */
export async function runNight(
  request: NightRequest,
  interrupts: Interrupts,
  ui: NightUi,
): Promise<NightResult> {
  const started = performance.now();
  const { folders } = request;
  const run = newRun();
  const night = nightOf(folders.day, folders.delivery);
  const logFolder = join(folders.work, 'logs');
  // What is wrong with the request is told before anything is written.
  const [, discovered] = await Promise.all([checkProfiles(request.profiles), findRolls(folders)]);
  if (discovered.rolls.length === 0)
    throw new FindingError(
      [
        ...discovered.findings,
        finding('no-rolls', '0 rolls', 'at least one folder with a roll', { file: folders.day }),
      ],
      2,
    );
  const lock = await acquireLock(folders.work);
  const log = openLog(logFolder, run);
  const notes: Finding[] = [];
  const ending = new AbortController();
  let halted: Finding | null = null;
  let engine: Engine | undefined;

  const note = (told: Finding): void => {
    log.logger.warn({ finding: told }, 'note');
    notes.push(told);
    ui.tell(told);
  };
  /** The first reason is kept. Nothing new is begun; what is not made yet is held. */
  const halt = (told: Finding): void => {
    if (halted !== null) return;
    halted = told;
    log.logger.error({ finding: told }, 'the night ends early');
    ending.abort(new FindingError([told]));
  };
  /** `toldLater`: it is also what the night ends by throwing, and said then. */
  const lost = (told: Finding, toldLater = false): void => {
    if (halted !== null) return;
    halt(told);
    if (!toldLater) ui.tell(told);
    engine?.stopNow(told).catch((error: unknown) => log.logger.error({ error: String(error) }, 'stopping'));
  };

  try {
    log.logger.info(
      { folders, night, workers: request.workers, profiles: request.profiles },
      'the night begins',
    );
    const tools = toolsOf(request);
    tools.catch(() => undefined);
    const reservation = freshReservation(folders.delivery);
    let onOver: (job: Job) => void = () => undefined;
    let onProgress: NightContextProgress = () => undefined;
    let onPlaceTrouble: (told: Finding) => void = () => undefined;
    let targetWell: () => Promise<boolean> = async () => true;
    const running = startEngine(
      {
        queue: request.queue,
        workFolder: folders.work,
        logFolder,
        night,
        run,
        workers: request.workers,
        slots: request.slots,
        stallSeconds: request.stallSeconds,
        tools,
        logger: log.logger,
      },
      {
        progress: (job, progress) => onProgress(job, progress),
        over: (job) => onOver(job),
        placeTrouble: (told) => onPlaceTrouble(told),
        targetWell: () => targetWell(),
        superseded: () =>
          lost(
            finding(
              'night-superseded',
              `run ${run} is not the last one of this night`,
              'one run of a night at a time',
            ),
          ),
        note,
        lost,
      },
    );
    engine = running;
    await tellRunning(folders.work, {
      night,
      run,
      day: folders.dayName,
      delivery: folders.delivery,
      since: new Date().toISOString(),
      queue: running.privateAddress,
    });
    const prepared = await prepare(request.profiles, tools);
    // A night that is refused leaves no delivery behind.
    makeDelivery(folders.delivery);
    for (const item of discovered.findings) note(item);

    const board = newBoard(discovered.rolls.map((roll) => roll.name));
    ui.begin(board);
    const target = await openTarget(folders.delivery);
    const workers = request.workers ?? defaultWorkers();
    const watch = startWatch(
      {
        making: running.making,
        target,
        patienceSeconds: request.patienceSeconds,
        stallSeconds: request.stallSeconds,
        reserveBytes: () =>
          reservation.largest() * workers * (request.slots ?? defaultSlots(Math.max(1, workers))),
        workersAtWork: running.workersAtWork,
      },
      {
        trouble: (told) => {
          log.logger.warn({ finding: told }, 'the target is in trouble: nothing new is begun');
          ui.tell(told);
          ui.say(`Waiting up to ${request.patienceSeconds} s for the target; what is being made goes on.`);
        },
        recovered: () => ui.say('The target is well again; going on.'),
        lost: (told) => lost(told),
        log: (message, fields) => log.logger.info(fields, message),
      },
    );
    onProgress = board.progress;
    onPlaceTrouble = watch.placeTrouble;
    targetWell = watch.isTargetWell;
    onOver = (job) => {
      reservation.release(job);
      board.over(job);
      watch.jobOver();
    };
    // Without queue and workers nothing can be made, but what is read and measured meanwhile is not lost: fail at once all the same.
    running.ready.catch((error: unknown) => {
      if (error instanceof FindingError && error.findings[0] !== undefined) lost(error.findings[0], true);
      else lost(finding('store-failed', String(error), 'a queue'), true);
    });
    const onFirst = (): void => {
      const told = finding('night-interrupted', 'an interrupt', 'an end by itself');
      if (halted !== null) return;
      halt(told);
      ui.say('Interrupted: ending what runs. Once more to stop now.');
      running.finish(told).then(
        () => running.making.giveUp(told),
        (error: unknown) => {
          log.logger.error({ error: String(error) }, 'finishing');
          running.making.giveUp(told);
        },
      );
    };
    const onSecond = (): void => {
      ui.say('Stopping now.');
      running
        .stopNow(halted ?? finding('night-interrupted', 'two interrupts', 'an end by itself'))
        .catch((error: unknown) => log.logger.error({ error: String(error) }, 'stopping'));
    };
    if (interrupts.first.aborted) onFirst();
    interrupts.first.addEventListener('abort', onFirst, { once: true });
    interrupts.second.addEventListener('abort', onSecond, { once: true });

    const context: NightContext = {
      request,
      night,
      run,
      ...prepared,
      board,
      signal: ending.signal,
      reservation,
      target,
      collisions: collisionsOf(discovered.rolls, folders),
      reading: pLimit(1),
      planning: pLimit(1),
      say: ui.say,
      make: async (roll, work) => {
        await running.ready;
        return await running.making.make(roll, work);
      },
      halted: () => halted,
      log: (message, fields) => log.logger.info(fields, message),
    };
    let rolls: RollOutcome[];
    try {
      rolls = await allRolls(discovered.rolls, context, ui);
    } finally {
      watch.stop();
    }
    // A machine that lacks the store's program is a machine's fault, not the night's.
    await running.ready;
    const findings = halted === null ? notes : [halted as Finding, ...notes];
    const verdict =
      rolls.every((roll) => roll.verdict === 'ready') && !findings.some(holds) ? 'ready' : 'held';
    log.logger.info({ verdict, seconds: (performance.now() - started) / 1000 }, 'the night ends');
    return {
      night,
      run,
      day: folders.dayName,
      delivery: folders.delivery,
      verdict,
      interrupted: interrupts.first.aborted,
      seconds: (performance.now() - started) / 1000,
      rolls,
      findings,
      logFolder,
    };
  } finally {
    await engine?.close();
    await endRunning(folders.work);
    await log.close();
    await lock.release();
  }
}

type NightContextProgress = Parameters<typeof startEngine>[1]['progress'];

async function allRolls(
  rolls: readonly DiscoveredRoll[],
  context: NightContext,
  ui: NightUi,
): Promise<RollOutcome[]> {
  const settled = await Promise.allSettled(
    rolls.map(async (roll, index) => {
      const outcome = await nightOfRoll(roll, index, context);
      ui.say(
        `${outcome.roll}: ${outcome.verdict}${outcome.verdict === 'ready' ? '' : `, ${outcome.findings.filter(holds).length} findings`}`,
      );
      return outcome;
    }),
  );
  return settled.map((result) => {
    if (result.status === 'rejected') throw result.reason;
    return result.value;
  });
}
