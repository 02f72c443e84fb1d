import pLimit from 'p-limit';
import { machineId, stateFolder } from '../../files/machine-id.ts';
import { FindingError, finding, blocks } from '../../findings/finding.ts';
import type { MediaTools } from '../../process/locate.ts';
import type { DiscoveredRoll } from '../intake/index.ts';
import { handOver, handoverOf } from '../handover/hand-over.ts';
import { byDue } from '../dispatch/by-due.ts';
import { type Dues, duesOf } from '../forecast/dues.ts';
import { estimated } from '../forecast/estimate.ts';
import { newRunProgress } from '../progress/run-progress.ts';
import { checkProfiles, prepare, toolsOf } from '../roll/prepare.ts';
import type { KnownRoll } from '../roll/know.ts';
import { settingsOfDay } from '../roll/shared-names.ts';
import { unmatchedFindings } from '../settings/unmatched.ts';
import { ALL_ROLLS, collisionsOf, findingsAsked, findRolls, rollsAsked } from '../roll/rolls.ts';
import { readersApart } from '../survey/reader.ts';
import { type Engine, startEngine } from './engine.ts';
import {
  listenForInterrupts,
  listenForJobs,
  listenForLoss,
  listenForPlaces,
  listenForQueue,
  listenForRepeats,
  listenForTheLost,
  listenForTarget,
} from './listeners.ts';
import { count, readyText } from '../show/words.ts';
import { groupNote } from './groups.ts';
import { beginMorning, endMorning } from './morning.ts';
import { newRun } from './names.ts';
import { keepProgress, type KeptProgress } from './keep-progress.ts';
import { type Places, takePlaces } from './places.ts';
import type { Interrupts, NightRequest, NightResult, NightUi, RollResult } from './request.ts';
import { type NightContext, nightOfRoll } from './roll.ts';
import { repeatsOf } from './repeats.ts';
import { segmentsFor } from '../dispatch/segments.ts';
import { beginMaking, firstOf, machinesOf, type Making, slotsOf } from './making.ts';
import { pullTaker } from './pulling.ts';
import { openRun, type RunState } from './run-state.ts';
import { type Forecasting, startForecasting } from './forecasting.ts';
import { keepHeapSmall } from '../../process/heap.ts';
import { endRunning, writeRunning } from './running.ts';
import { type Sweeping, startSweeping } from './sweeping.ts';
import { soundRollsByName } from '../roll/production-sound.ts';
import { surveysOf } from './surveys.ts';

/** Throws FindingError when the night cannot begin (2: usage, 3: machine) or, rarely, not go on. */
export async function runNight(
  request: NightRequest,
  interrupts: Interrupts,
  ui: NightUi,
): Promise<NightResult> {
  keepHeapSmall();
  // What is wrong with the request is reported before anything is written.
  const found = await checkRequest(request);
  const run = newRun();
  const places = await takePlaces({ request, run, interrupts, ui });
  try {
    const settings = await settingsOfDay(request.settings, found.rolls, interrupts.first);
    return await runThere({
      request: { ...request, settings },
      interrupts,
      ui,
      found,
      places,
      run: openRun(request, ui, run),
    });
  } finally {
    await places.release();
  }
}

interface Begun {
  readonly request: NightRequest;
  readonly interrupts: Interrupts;
  readonly ui: NightUi;
  readonly found: FoundRolls;
  readonly places: Places;
  readonly run: RunState;
}

/** The night, its places taken. */
async function runThere({ request, interrupts, ui, found, places, run }: Begun): Promise<NightResult> {
  const clipReaders = readersApart();
  let engine: Engine | undefined;
  let making: Making | undefined;
  let sweeping: Sweeping | undefined;
  let kept: KeptProgress | undefined;
  let learning: Forecasting | undefined;
  try {
    const tools = beginTools(request, run);
    listenForLoss(run, ui);
    listenForPlaces(run, places);
    engine = beginEngine(request, run, tools);
    await tellWhatRuns(request, run, engine);
    const prepared = await prepare(request, tools);
    for (const item of found.findings) run.note(item);
    noteMachine(run);
    const { delivery } = request.folders;
    sweeping = startSweeping({ delivery, hold: places.hold, log: run.log, say: ui.say });
    listenForTheLost(run, sweeping);
    const runProgress = newRunProgress(found.asked.map((roll) => roll.name));
    const machines = machinesOf(request, engine);
    const { queue } = engine;
    const forecasting = await startForecasting({
      ...{ run: run.run, events: run.events, log: run.log },
      ...{ machines, runProgress, dues: found.dues },
      ...(request.queue === null
        ? {}
        : {
            queueOf: (need) => queue().queueOf(need),
            others: () => engine?.machines?.others() ?? 0,
          }),
    });
    learning = forecasting;
    ui.begin(runProgress, forecasting.now);
    kept = keepProgress({
      ...{ work: request.folders.work, delivery: request.folders.delivery, day: request.folders.dayName },
      timeZone: request.settings.file.show?.time_zone ?? null,
      ...{ run: run.run, runProgress, log: run.log, forecast: forecasting.now },
    });
    making = await beginMaking(request, run, engine, places.hold);
    const { tracker } = making;
    listenForJobs(run, runProgress, making.reservation);
    listenForRepeats(run, ui);
    listenForTarget(run, tracker, request, ui);
    listenForQueue(run, engine);
    listenForInterrupts({ interrupts, run, engine, tracker, ui });
    const morning = {
      folders: request.folders,
      run: run.run,
      target: making.target,
      began: new Date().toISOString(),
      mounts: request.volumes?.mounts ?? null,
    };
    const names = found.rolls.map((roll) => roll.name);
    for (const item of await beginMorning(morning, names)) run.note(item);
    const known: KnownRoll[] = [];
    const surveys = surveysOf(found.asked.map(({ name }) => name));
    const maybeSoundRolls = await soundRollsByName(found.rolls, prepared, run.signal);
    const pulling = pullTaker(request, prepared.profiles, known, { run, surveys, making, say: ui.say });
    const rolls = await allRolls(
      found.asked,
      {
        ...contextOf(request, run, { engine, ...making }),
        ...prepared,
        forecasting,
        dues: found.dues,
        mounts: request.volumes?.mounts ?? null,
        estimate: (jobs) =>
          estimated(jobs, { ...firstOf(machines()), samples: forecasting.samples(), run: run.run }),
        segmentsFor: (planned, lying) => {
          const known = { ...firstOf(machines()), samples: forecasting.samples(), run: run.run };
          const [here = planned] = estimated([planned], known);
          return segmentsFor(here, request.segments ?? 'auto', slotsOf(machines()), lying);
        },
        runProgress,
        known,
        surveys,
        repeats: repeatsOf({
          ...{ folders: request.folders, rolls: found.asked, known, surveys, signal: run.signal },
        }),
        maybeSoundRolls,
        heardTogether: new Map(),
        notAsked: found.rolls.filter((roll) => !found.asked.includes(roll)).map(({ name }) => name),
        say: ui.say,
        takePull: pulling?.take ?? null,
        collisions: collisionsOf(found.rolls, request.folders),
        dayManifests: found.dayManifests,
        clipReaders,
      },
      ui,
    );
    making.watch.stop();
    // Of a part of the day nobody knows what the rest has.
    if (found.asked.length === found.rolls.length && request.pull == null) noteUnmatched(request, run, known);
    for (const item of await sweeping.end(() => !interrupts.first.aborted)) run.note(item);
    for (const item of await forecasting.end()) run.note(item);
    // Last of all: nothing is staged any more, and every verdict is the one that stays.
    if (mayHandOver(run, interrupts)) for (const item of await handOver(request.folders)) run.note(item);
    const grouped = await groupNote(
      request.folders,
      found.asked.map(({ name }) => name),
    );
    if (grouped !== null) run.note(grouped);
    // A machine that lacks the store's program is a machine's fault, not the night's.
    await engine.ready;
    tracker.assertNothingLeft();
    const result = resultOf(request, run, rolls, interrupts.first.aborted);
    const { findings: notes, page } = await endMorning(morning, result, !interrupts.second.aborted);
    for (const item of notes) run.note(item);
    const pull = pulling?.summary() ?? null;
    const handover = await handoverOf(request.folders);
    return { ...result, findings: [...result.findings, ...notes], pull, page, handover };
  } finally {
    clipReaders.close();
    making?.watch.stop();
    await engine?.close((making?.tracker.atWork ?? 0) > 0);
    await sweeping?.end();
    await kept?.end();
    await learning?.end();
    await endRunning(request.folders.work);
    await run.close();
  }
}

/** All rolls of the day, and those that this run is about. */
interface FoundRolls extends Awaited<ReturnType<typeof findRolls>> {
  /** In the order in which they are read. */
  readonly asked: readonly DiscoveredRoll[];
  readonly dues: Dues;
}

async function checkRequest(request: NightRequest): Promise<FoundRolls> {
  const { folders } = request;
  const [, found] = await Promise.all([checkProfiles(request), findRolls(folders)]);
  if (found.rolls.length > 0) {
    const names = found.rolls.map(({ name }) => name);
    const dues = duesOf({
      ...{ by: request.by ?? [], settings: request.settings.file, rolls: names, now: Date.now() },
    });
    const wanted = request.rolls ?? ALL_ROLLS;
    const asked = byDue(rollsAsked(found.rolls, wanted), wanted.first, dues);
    const whole = asked.length === found.rolls.length;
    return { ...found, asked, dues, findings: whole ? found.findings : findingsAsked(found.findings, asked) };
  }
  const none = finding('no-rolls', '0 rolls', 'at least one folder with a roll', { file: folders.day });
  throw new FindingError([...found.findings, none], 2);
}

/** A machine without an id of its own is not recognised by its next run. */
function noteMachine(run: RunState): void {
  const { kept, why } = machineId();
  if (!kept)
    run.note(finding('machine-id-not-kept', why ?? '', 'a file that lasts', { file: stateFolder() }));
}

/** A night that was asked to stop leaves what it has whole; one whose target is gone has nowhere to write. */
const mayHandOver = ({ halted }: RunState, { first, second }: Interrupts): boolean =>
  halted === null || (first.aborted && !second.aborted);

/** Rolls, cameras and CDLs of the settings that the day does not have; of a roll that was not surveyed nothing is known. */
function noteUnmatched({ settings }: NightRequest, run: RunState, known: readonly KnownRoll[]): void {
  if (!known.every(({ isSurveyed }) => isSurveyed)) return;
  const rolls = known.map(({ roll, clips }) => ({ roll: roll.name, clips }));
  for (const item of unmatchedFindings(settings.file, rolls)) run.note(item);
}

function beginTools(request: NightRequest, { night, log }: RunState): Promise<MediaTools> {
  const { folders, workers, profiles } = request;
  log('the night begins', { folders, night, workers, profiles });
  const tools = toolsOf(request);
  // Whoever awaits them is reported.
  tools.catch(() => undefined);
  return tools;
}

function beginEngine(request: NightRequest, run: RunState, tools: Promise<MediaTools>): Engine {
  return startEngine({
    queue: request.queue,
    weight: request.weight,
    workFolder: request.folders.work,
    logFolder: run.logFolder,
    delivery: request.folders.delivery,
    volumes: request.volumes ?? null,
    night: run.night,
    run: run.run,
    workers: request.workers,
    slots: request.slots,
    stallSeconds: request.stallSeconds,
    tools,
    logger: run.logger,
    events: run.events,
  });
}

async function tellWhatRuns(
  { folders }: NightRequest,
  { night, run }: RunState,
  engine: Engine,
): Promise<void> {
  await writeRunning(folders.work, {
    night,
    run,
    day: folders.dayName,
    delivery: folders.delivery,
    since: new Date().toISOString(),
    queue: engine.privateAddress,
  });
}

/** What every roll needs of the run. */
function contextOf(
  request: NightRequest,
  run: RunState,
  {
    engine,
    tracker,
    target,
    reservation,
  }: Pick<Making, 'tracker' | 'target' | 'reservation'> & {
    readonly engine: Engine;
  },
) {
  return {
    request,
    replace: request.replace === true,
    night: run.night,
    run: run.run,
    signal: run.signal,
    reservation,
    target,
    reading: pLimit(1),
    planning: pLimit(1),
    // What is wrong with it is reported at the end, when no other roll is decided meanwhile.
    handOver: oneAtATime(async () => void (await handOver(request.folders))),
    make: async (roll, work) => {
      await engine.ready;
      await engine.startWorkers();
      return await tracker.make(roll, work);
    },
    halted: () => run.halted,
    log: run.log,
  } satisfies Partial<NightContext>;
}

function oneAtATime(task: () => Promise<void>): () => Promise<void> {
  const limit = pLimit(1);
  return () => limit(task);
}

function resultOf(
  { folders }: NightRequest,
  { night, run, halted, notes, began, logger, logFolder }: RunState,
  rolls: RollResult[],
  interrupted: boolean,
): Omit<NightResult, 'page' | 'pull' | 'handover'> {
  const findings = halted === null ? [...notes] : [halted, ...notes];
  const verdict =
    rolls.every((roll) => roll.verdict === 'ready') && !findings.some(blocks) ? 'ready' : 'held';
  const seconds = (performance.now() - began) / 1000;
  logger.info({ verdict, seconds }, 'the night ends');
  return {
    night,
    run,
    day: folders.dayName,
    delivery: folders.delivery,
    verdict,
    interrupted,
    seconds,
    rolls,
    findings,
    logFolder,
  };
}

async function allRolls(
  rolls: readonly DiscoveredRoll[],
  context: NightContext,
  ui: NightUi,
): Promise<RollResult[]> {
  // What clips carry of sound rolls is asked before they are made: those are read first.
  const isSound = ({ roll }: { readonly roll: DiscoveredRoll }): boolean =>
    context.maybeSoundRolls.includes(roll.name);
  const inOrder = rolls
    .map((roll, index) => ({ roll, index }))
    .sort((one, other) => Number(isSound(other)) - Number(isSound(one)));
  const settled = await Promise.allSettled(
    inOrder.map(async ({ roll, index }) => {
      const outcome = await nightOfRoll(roll, index, context);
      if (outcome === null) return null;
      ui.say(
        `${outcome.roll}: ${outcome.verdict === 'ready' ? readyText(outcome.copies) : `held, ${count(outcome.findings.filter(blocks).length, 'finding')}`}`,
      );
      ui.decided?.(outcome, context.halted());
      return { index, outcome };
    }),
  );
  return settled
    .flatMap((result) => {
      if (result.status === 'rejected') throw result.reason;
      return result.value ?? [];
    })
    .sort((one, other) => one.index - other.index)
    .map(({ outcome }) => outcome);
}
