/**
 * When each roll will be ready: the rest of the night, simulated often, each time with other luck. What is said is the range from the tenth to the
 * ninetieth of a hundred such nights. Pure: speeds, order and chance are given.
 *
 * A roll that has a job of a kind of which too few are finished is not spoken of. Such jobs still take their time before others: in the simulation they
 * take what the planner's table says, as far as this machine is faster or slower than that, and may be far off.
 */
import type { Chance } from './chance.ts';
import { kindKey, type Kind } from './kind.ts';
import { simulate, type SimulatedMachine, type Waiting } from './simulate.ts';
import { likelySeconds, type Speed } from './speed.ts';

export interface ForecastJob {
  readonly rollName: string;
  readonly kind: Kind;
  readonly frames: number;
  /** By the planner's table. */
  readonly tableSeconds: number;
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
}

export interface Forecast {
  readonly rolls: readonly RollForecast[];
  /** Of all rolls; null: not known yet. */
  readonly whole: Range | null;
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

export function forecast<Item extends ForecastJob>(night: ToForecast<Item>): Forecast {
  const { machines, releases, running, chance } = night;
  const jobs = [...running.map(({ job }) => job), ...releases.flatMap((release) => release.jobs)];
  const rolls = new Map<string, { jobs: number; unknown: number; ready: number[] }>();
  const speeds = speedTable(night, jobs);
  for (const job of jobs) {
    const entry = rolls.get(job.rollName) ?? { jobs: 0, unknown: 0, ready: [] };
    entry.jobs += 1;
    if (!machines.some(({ id }) => speeds.of(job.kind, id) !== null)) entry.unknown += 1;
    rolls.set(job.rollName, entry);
  }
  const known = [...rolls.values()].filter(({ unknown }) => unknown === 0);
  const whole: number[] = [];
  const isPossible = machines.some(({ slots }) => slots > 0) && known.length > 0;
  for (let turn = 0; isPossible && turn < night.nights; turn += 1) {
    const luck = new Map(machines.map(({ id }) => [id, chance.normal()]));
    const seconds = (job: Item, machine: string): number => {
      const speed = speeds.of(job.kind, machine);
      if (speed === null)
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
    const ends = simulate({
      machines,
      waiting: night.waiting(),
      releases,
      running: running.map(({ job, machine, elapsed }) => ({
        job,
        machine,
        left: left(job, machine ?? fallback, elapsed),
      })),
      seconds: (job, machine) => seconds(job, machine) + speeds.between(job.kind, machine),
    });
    const ready = new Map<string, number>();
    for (const { job, end } of ends) ready.set(job.rollName, Math.max(ready.get(job.rollName) ?? 0, end));
    for (const [roll, at] of ready) rolls.get(roll)?.ready.push(at);
    whole.push(Math.max(0, ...ready.values()));
  }
  return {
    rolls: [...rolls].map(([roll, { jobs: open, unknown, ready }]) => ({
      roll,
      jobs: open,
      unknown,
      ready: unknown > 0 ? null : rangeOf(ready),
    })),
    whole: known.length === rolls.size ? rangeOf(whole) : null,
  };
}

/** Each speed is asked for once. */
function speedTable<Item extends ForecastJob>(
  { machines, speedOf }: Pick<ToForecast<Item>, 'machines' | 'speedOf'>,
  jobs: readonly Item[],
): {
  of(kind: Kind, machine: string): Speed | null;
  between(kind: Kind, machine: string): number;
  /** How many times as long as by the planner's table a job takes there. */
  beside(machine: string): number;
} {
  const keys = new Map<Kind, string>();
  const table = new Map<string, Speed | null>();
  const placeOf = (kind: Kind, machine: string): string => {
    const key = keys.get(kind) ?? kindKey(kind);
    keys.set(kind, key);
    return `${machine} ${key}`;
  };
  const of = (kind: Kind, machine: string): Speed | null => {
    const place = placeOf(kind, machine);
    const found = table.get(place);
    if (found !== undefined) return found;
    const speed = speedOf(kind, machine);
    table.set(place, speed);
    return speed;
  };
  const ratios = new Map(
    machines.map(({ id }) => {
      const known = jobs.flatMap(({ kind, frames, tableSeconds }) => {
        const speed = of(kind, id);
        return speed === null ? [] : [Math.log(likelySeconds(speed, frames) / tableSeconds)];
      });
      const mean = known.reduce((sum, one) => sum + one, 0) / Math.max(1, known.length);
      return [id, Math.exp(mean)] as const;
    }),
  );
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
