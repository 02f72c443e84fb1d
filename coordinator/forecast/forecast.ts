/**
 * When each roll will be ready: the rest of the night, simulated often, each time with other luck. What is said is the range from the tenth to the
 * ninetieth of a hundred such nights. Pure: speeds, order and chance are given.
 *
 * A roll that has a job of a kind of which too few are finished is not spoken of. Such jobs still take their time before others: in the simulation they
 * take what the planner's table says, as far as this machine is faster or slower than that, and may be far off. So do jobs that join segments: what is learned is of whole clips.
 */
import type { Wave } from '../../ledger/job.ts';
import type { Chance } from './chance.ts';
import { afterSegments, joins, type OfCut } from './cut.ts';
import { kindKey, type Kind } from './kind.ts';
import { canTake, type SimulatedMachine, simulateSteps, type Waiting } from './simulate.ts';
import { likelySeconds, type Speed } from './speed.ts';
import { inParts, type Steps, whole } from './steps.ts';

export interface ForecastJob extends OfCut {
  readonly rollName: string;
  readonly kind: Kind;
  readonly frames: number;
  /** By the planner's table. */
  readonly tableSeconds: number;
  /** As of OrderedJob. */
  readonly wave?: Wave | undefined;
}

/** Seconds from now. */
export interface Range {
  readonly least: number;
  readonly most: number;
}

export interface RollForecast {
  readonly roll: string;
  /** null: not known yet. */
  readonly ready: Range | null;
  /** Jobs that are not over. */
  readonly jobs: number;
  /** Of these, jobs of a kind of which too few are finished. */
  readonly unknown: number;
  /** Jobs that no machine can take: the roll is never ready with these machines. */
  readonly nobody: number;
}

export interface Forecast {
  readonly rolls: readonly RollForecast[];
  /** Of all rolls; null: not known yet. */
  readonly whole: Range | null;
  /** Of the proxies of all rolls, where masters come after them; null: not known yet, or there is one wave. */
  readonly proxies: Range | null;
}

export interface ToForecast<Item extends ForecastJob> {
  readonly machines: readonly SimulatedMachine[];
  /** A fresh one for each simulated night. */
  readonly waiting: () => Waiting<Item>;
  readonly releases: readonly { readonly at: number; readonly jobs: readonly Item[] }[];
  /** `elapsed`: seconds since it was taken. */
  readonly running: readonly {
    readonly job: Item;
    readonly machine: string | null;
    readonly elapsed: number;
  }[];
  /** As of Simulated. */
  readonly queueOf?: (job: Item) => string | null;
  readonly speedOf: (kind: Kind, machine: string) => Speed | null;
  readonly chance: Chance;
  /** How often the night is simulated. */
  readonly nights: number;
}

/** Of the logarithm of what the planner's table says: it was measured on another machine, with other pictures. */
const TABLE_SCATTER = 0.5;
const [LEAST, MOST] = [0.1, 0.9];
const TRIES = 20;

/** So often that the two ends of the range hardly move any more; of very many jobs, whose luck evens out, as often as it may take. */
export const nightsFor = (jobs: number): number =>
  Math.min(200, Math.max(20, Math.floor(200_000 / Math.max(1, jobs))));

export const forecast = <Item extends ForecastJob>(night: ToForecast<Item>): Forecast =>
  whole(forecastSteps(night));

/** Of one roll, in all nights that were simulated so far. */
interface RollNights {
  jobs: number;
  unknown: number;
  nobody: number;
  /** Of each night. */
  readonly ready: number[];
}

/** The same in steps: of very many jobs it takes seconds. */
export function* forecastSteps<Item extends ForecastJob>(night: ToForecast<Item>): Steps<Forecast> {
  const { machines, running, chance } = night;
  const rolls = new Map<string, RollNights>();
  const speeds = yield* speedTable(night);
  let [hasProxies, areProxiesKnown, hasCuts] = [false, true, false];
  const queueOf = (job: Item): string | null => night.queueOf?.(job) ?? null;
  const isKnown = ({ kind }: Item): boolean => machines.some(({ id }) => speeds.of(kind, id) !== null);
  const isUnderWay = new Set(running.map(({ job }) => job));
  // Where no machine is there at all it is too early to say so.
  const isNobodys = (job: Item): boolean =>
    machines.length > 0 &&
    !machines.some((machine) => canTake(machine, queueOf(job))) &&
    !isUnderWay.has(job);
  for (const jobs of jobsOf(night))
    yield* inParts(jobs, (job) => {
      const entry = rolls.get(job.rollName) ?? { jobs: 0, unknown: 0, nobody: 0, ready: [] };
      const nobodys = isNobodys(job);
      const isOpen = !nobodys && isKnown(job);
      entry.jobs += 1;
      if (nobodys) entry.nobody += 1;
      else if (!isOpen) entry.unknown += 1;
      rolls.set(job.rollName, entry);
      if (job.cut !== undefined) hasCuts = true;
      if (job.wave !== 'proxies') return;
      hasProxies = true;
      if (!isOpen) areProxiesKnown = false;
    });
  const known = [...rolls.values()].filter(({ unknown, nobody }) => unknown === 0 && nobody === 0);
  const nights: number[] = [];
  const shares = new Map(machines.map(({ id, share }) => [id, share ?? 1]));
  const proxies: number[] = [];
  const speaksOfProxies = hasProxies && areProxiesKnown;
  const isPossible = machines.some(({ slots }) => slots > 0) && (known.length > 0 || speaksOfProxies);
  for (let turn = 0; isPossible && turn < night.nights; turn += 1) {
    const luck = new Map(machines.map(({ id }) => [id, chance.normal()]));
    const seconds = (job: Item, machine: string): number => {
      const speed = speeds.of(job.kind, machine);
      if (speed === null || joins(job))
        return job.tableSeconds * speeds.beside(machine) * Math.exp(TABLE_SCATTER * chance.normal());
      const { mean, deviation } = speed.drift;
      const off = mean + deviation * (luck.get(machine) ?? 0) + speed.scatter * chance.normal();
      return (speed.whole.fixed + speed.whole.frame * job.frames) * Math.exp(off);
    };
    const left = (job: Item, machine: string, elapsed: number): number => {
      let all = seconds(job, machine);
      // It has lasted so long already: what would be over is not how it goes.
      for (let tried = 1; all <= elapsed && tried < TRIES; tried += 1) all = seconds(job, machine);
      return all > elapsed ? all - elapsed : Math.abs(chance.normal()) * 0.1 * all;
    };
    const fallback = machines[0]?.id ?? '';
    const ready = new Map<string, number>();
    let lastProxy = 0;
    yield* simulateSteps(
      {
        machines,
        waiting: hasCuts
          ? afterSegments(
              night.waiting(),
              running.map(({ job }) => job),
              queueOf,
            )
          : night.waiting(),
        releases: night.releases,
        queueOf,
        running: running.map(({ job, machine, elapsed }) => ({
          job,
          machine,
          left: left(job, machine ?? fallback, elapsed),
        })),
        // A slot that comes to this night for a part of its time makes that part of its jobs.
        seconds: (job, machine) =>
          (seconds(job, machine) + speeds.between(job.kind, machine)) / (shares.get(machine) ?? 1),
      },
      ({ job, end }) => {
        ready.set(job.rollName, Math.max(ready.get(job.rollName) ?? 0, end));
        if (job.wave === 'proxies') lastProxy = Math.max(lastProxy, end);
      },
    );
    for (const [roll, at] of ready) rolls.get(roll)?.ready.push(at);
    nights.push(Math.max(0, ...ready.values()));
    if (speaksOfProxies) proxies.push(lastProxy);
  }
  return {
    rolls: [...rolls].map(([roll, { jobs: open, unknown, nobody, ready }]) => ({
      roll,
      jobs: open,
      unknown,
      nobody,
      ready: unknown > 0 || nobody > 0 ? null : rangeOf(ready),
    })),
    whole: known.length === rolls.size ? rangeOf(nights) : null,
    proxies: rangeOf(proxies),
  };
}

/** All jobs that are not over, in lists. */
const jobsOf = <Item extends ForecastJob>({
  running,
  releases,
}: Pick<ToForecast<Item>, 'running' | 'releases'>): (readonly Item[])[] => [
  running.map(({ job }) => job),
  ...releases.map(({ jobs }) => jobs),
];

interface SpeedTable {
  of(kind: Kind, machine: string): Speed | null;
  between(kind: Kind, machine: string): number;
  /** How many times as long as by the planner's table a job takes there. */
  beside(machine: string): number;
}

/** Each speed is asked for once. */
function* speedTable<Item extends ForecastJob>(night: ToForecast<Item>): Steps<SpeedTable> {
  const { machines, speedOf } = night;
  const table = new Map<string, Map<string, Speed | null>>(machines.map(({ id }) => [id, new Map()]));
  const of = (kind: Kind, machine: string): Speed | null => {
    const own = table.get(machine) ?? new Map<string, Speed | null>();
    table.set(machine, own);
    const key = kindKey(kind);
    const found = own.get(key);
    if (found !== undefined) return found;
    const speed = speedOf(kind, machine);
    own.set(key, speed);
    return speed;
  };
  const ratios = new Map<string, number>();
  for (const { id } of machines) {
    let [sum, count] = [0, 0];
    for (const jobs of jobsOf(night))
      yield* inParts(jobs, (job) => {
        const speed = of(job.kind, id);
        if (speed === null || joins(job)) return;
        sum += Math.log(likelySeconds(speed, job.frames) / job.tableSeconds);
        count += 1;
      });
    ratios.set(id, Math.exp(sum / Math.max(1, count)));
  }
  return {
    of,
    between: (kind, machine) => of(kind, machine)?.between ?? 0,
    beside: (machine) => ratios.get(machine) ?? 1,
  };
}

/** null: of nothing. */
export function rangeOf(values: readonly number[]): Range | null {
  if (values.length === 0) return null;
  const sorted = [...values].sort((a, b) => a - b);
  return { least: quantile(sorted, LEAST), most: quantile(sorted, MOST) };
}

/** Between neighbours in proportion (Hyndman and Fan 1996, definition 7). */
function quantile(sorted: readonly number[], share: number): number {
  const place = share * (sorted.length - 1);
  const low = Math.floor(place);
  const [below, above] = [sorted[low] as number, sorted[Math.min(low + 1, sorted.length - 1)] as number];
  return below + (place - low) * (above - below);
}
