/** `npm run simulate`: a drawn day on so many workers, through the run's own order and window, held against the least that any order could take. */
import { parseArgs } from 'node:util';
import { count, durationText } from '../../findings/human.ts';
import { type MastersTurn, masterTurns } from '../plan/waves.ts';
import { chanceOf } from './chance.ts';
import { type DrawnJob, drawDay } from './drawn-day.ts';
import { canTake, type SimulatedEnd, type SimulatedMachine, simulate } from './simulate.ts';
import { inQueues, windowed } from './waiting.ts';

export interface SimulationRequest {
  readonly clips: number;
  readonly workers: number;
  /** Of these, workers on machines without the decoder of one camera; absent: none. */
  readonly without?: number;
  readonly seed: number;
  /** As in ToDraw. */
  readonly scatter: number;
  /** As in ToDraw. */
  readonly masters: MastersTurn;
}

export interface Simulation extends SimulationRequest {
  readonly rolls: number;
  /** Seconds of one slot, of all jobs together. */
  readonly work: number;
  readonly longest: number;
  /** Jobs that no worker can take. */
  readonly nobody: number;
  /** No order ends sooner: all work on all slots, what needs the decoder on those that have it, or the longest job alone. */
  readonly bound: number;
  /** Seconds until the last job has ended. */
  readonly makespan: number;
  /** Of the time of all workers, from 0 to 1. */
  readonly busy: number;
  /** When rolls are ready: the first, the one in the middle, the last. Seconds. */
  readonly ready: { readonly first: number; readonly middle: number; readonly last: number };
  /** When the last proxy is made, seconds; null: masters are made with them. */
  readonly proxies: number | null;
}

const DECODER_QUEUE = 'decoder';

/** Pure. */
export function simulationOf(request: SimulationRequest): Simulation {
  const { clips, workers, without = 0, seed, scatter, masters } = request;
  const drawn = drawDay({ clips, scatter, masters, chance: chanceOf(seed) });
  const machines = Array.from(
    { length: workers },
    (_, index): SimulatedMachine => ({
      id: `worker-${index + 1}`,
      slots: 1,
      unfit: new Set(index < without ? [DECODER_QUEUE, `${DECODER_QUEUE}-masters`] : []),
    }),
  );
  const queueOf = ({ needsDecoder, wave }: DrawnJob): string =>
    `${needsDecoder ? DECODER_QUEUE : 'others'}${wave === 'masters' ? '-masters' : ''}`;
  const jobs = drawn.filter((job) => machines.some((machine) => canTake(machine, queueOf(job))));
  const ends = simulate<DrawnJob>({
    machines,
    // All equal: one queue, as on one machine.
    waiting: without === 0 ? windowed(workers) : inQueues(machines, queueOf, windowed),
    releases: [{ at: 0, jobs }],
    running: [],
    seconds: (job) => job.trueSeconds,
  });
  if (ends.length !== jobs.length) throw new Error(`${jobs.length - ends.length} jobs were never begun`);
  const workOf = (list: readonly DrawnJob[]): number =>
    list.reduce((sum, { trueSeconds }) => sum + trueSeconds, 0);
  const work = workOf(jobs);
  const ofDecoder = workOf(jobs.filter(({ needsDecoder }) => needsDecoder));
  const longest = jobs.reduce((most, { trueSeconds }) => Math.max(most, trueSeconds), 0);
  const makespan = ends.at(-1)?.end ?? 0;
  const ready = readyTimes(ends);
  const proxies = ends.filter(({ job }) => job.wave === 'proxies').at(-1);
  return {
    ...request,
    rolls: ready.length,
    work,
    longest,
    nobody: drawn.length - jobs.length,
    bound: Math.max(work / workers, without < workers ? ofDecoder / (workers - without) : 0, longest),
    makespan,
    busy: work / (workers * makespan),
    ready: {
      first: ready[0] ?? 0,
      middle: ready[ready.length >> 1] ?? 0,
      last: ready.at(-1) ?? 0,
    },
    proxies: proxies?.end ?? null,
  };
}

/** Of each roll, the first first. */
function readyTimes(ends: readonly SimulatedEnd<DrawnJob>[]): number[] {
  const ready = new Map<string, number>();
  for (const { job, end } of ends) ready.set(job.rollName, Math.max(ready.get(job.rollName) ?? 0, end));
  return [...ready.values()].sort((a, b) => a - b);
}

/** For people. */
export function simulationText(simulation: Simulation): string {
  const {
    clips,
    workers,
    without = 0,
    seed,
    scatter,
    rolls,
    work,
    longest,
    nobody,
    bound,
    makespan,
  } = simulation;
  const { busy, ready, proxies } = simulation;
  return `${[
    `${count(clips, 'clip')} in ${count(rolls, 'roll')}, ${count(workers, 'worker')}, seed ${seed}, jobs ${scatter} off what is thought of them`,
    ...(without === 0 ? [] : [`unfit         ${count(without, 'worker')} without the decoder of camera D`]),
    ...(nobody === 0
      ? []
      : [
          `left          no worker can take ${count(nobody, 'job')}: these are not made, and not counted below`,
        ]),
    `work          ${durationText(work)} of one worker; the longest job ${durationText(longest)}`,
    `least         ${durationText(bound)}: no order ends sooner`,
    `this order    ${durationText(makespan)}, ${(makespan / bound).toFixed(3)} of the least; workers busy ${(100 * busy).toFixed(1)} % of it`,
    ...(proxies === null
      ? []
      : [`proxies       all made after ${durationText(proxies)}; then masters alone`]),
    `rolls ready   the first after ${durationText(ready.first)}, half of them after ${durationText(ready.middle)}, all after ${durationText(ready.last)}`,
  ].join('\n')}\n`;
}

const MOST_CLIPS = 200_000;
const MOST_WORKERS = 10_000;

/** Throws RangeError, with what is expected. */
export function readArguments(args: readonly string[]): SimulationRequest {
  const { values } = parseArgs({
    args: [...args],
    options: {
      clips: { type: 'string', default: '2000' },
      workers: { type: 'string', default: '8' },
      without: { type: 'string', default: '0' },
      seed: { type: 'string', default: '1' },
      scatter: { type: 'string', default: '0.15' },
      masters: { type: 'string', default: 'with' },
    },
  });
  const whole = (name: 'clips' | 'workers' | 'without' | 'seed', least: number, most: number): number => {
    const number = Number(values[name]);
    if (!Number.isSafeInteger(number) || number < least || number > most)
      throw new RangeError(`--${name} ${values[name]}: a whole number from ${least} to ${most}`);
    return number;
  };
  const masters = masterTurns.find((turn) => turn === values.masters);
  if (masters === undefined) throw new RangeError(`--masters ${values.masters}: ${masterTurns.join(' or ')}`);
  const scatter = Number(values.scatter);
  if (!(scatter >= 0 && scatter <= 2)) throw new RangeError(`--scatter ${values.scatter}: from 0 to 2`);
  const workers = whole('workers', 1, MOST_WORKERS);
  return {
    clips: whole('clips', 1, MOST_CLIPS),
    workers,
    without: whole('without', 0, workers),
    seed: whole('seed', 0, Number.MAX_SAFE_INTEGER),
    scatter,
    masters,
  };
}
