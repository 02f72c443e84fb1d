/**
 * A night in discrete events: rolls come, machines take jobs in order, jobs end. What decides is not imitated here: order and window are the
 * functions that the run itself goes by. How long a job takes is asked of whoever calls; nothing else is left to chance.
 */
import { type Steps, whole } from './steps.ts';

export interface SimulatedMachine {
  readonly id: string;
  /** Jobs side by side. */
  readonly slots: number;
  /** Queues whose jobs it cannot do, as its record says. One that it has not looked at yet is not among them. */
  readonly unfit?: ReadonlySet<string>;
  /** What part of it comes to this night beside others, above 0, to 1; absent: all of it. */
  readonly share?: number;
}

/** Whether it does jobs of this queue; null: of the one that every machine takes from. */
export const canTake = ({ unfit }: SimulatedMachine, queue: string | null): boolean =>
  queue === null || unfit?.has(queue) !== true;

/** Who has the jobs that no machine has taken. */
export interface Waiting<Item> {
  /** Jobs that can be begun from now on. */
  release(jobs: readonly Item[]): void;
  /** The next one, for a machine that has a free slot. */
  take(machine: SimulatedMachine): Item | undefined;
  /** One that was taken has ended. */
  ended(item: Item): void;
}

export interface Simulated<Item> {
  readonly machines: readonly SimulatedMachine[];
  readonly waiting: Waiting<Item>;
  /** When jobs can be begun: seconds from now. */
  readonly releases: readonly { readonly at: number; readonly jobs: readonly Item[] }[];
  /** Under way already, with the seconds that each still takes. `machine`: null: nobody knows which. */
  readonly running: readonly { readonly job: Item; readonly machine: string | null; readonly left: number }[];
  /** Where the job lies; absent: there is one queue. */
  readonly queueOf?: (job: Item) => string | null;
  /** How long a slot of the machine is busy with it. */
  seconds(job: Item, machine: string): number;
}

export interface SimulatedEnd<Item> {
  readonly job: Item;
  readonly machine: string;
  readonly begin: number;
  /** Seconds from now. */
  readonly end: number;
}

/** In the order of their ends. Jobs that no machine takes are not among them. */
export function simulate<Item>(night: Simulated<Item>): SimulatedEnd<Item>[] {
  const ends: SimulatedEnd<Item>[] = [];
  whole(simulateSteps(night, (end) => void ends.push(end)));
  return ends;
}

/** After so many ends whoever goes on with it may do something else first. */
const ENDS_A_STEP = 1_000;

/** The same in steps; each end is told, and not kept: a forecast simulates many nights of many jobs. */
export function* simulateSteps<Item>(
  night: Simulated<Item>,
  tell: (end: SimulatedEnd<Item>) => void,
): Steps<void> {
  const events = new Events<
    | { readonly kind: 'release'; readonly jobs: readonly Item[] }
    | { readonly kind: 'end'; readonly on: SimulatedMachine; readonly done: SimulatedEnd<Item> }
  >();
  const { machines, waiting } = night;
  const free = new Map(machines.map((machine) => [machine, machine.slots]));
  const named = new Map(machines.map((machine) => [machine.id, machine]));
  for (const { at, jobs } of night.releases) events.add(at, { kind: 'release', jobs });
  for (const { job, machine, left } of night.running) {
    const own = machine === null ? undefined : named.get(machine);
    const queue = night.queueOf?.(job) ?? null;
    // One that has become unfit since may have it all the same.
    const on =
      own !== undefined && (free.get(own) ?? 0) > 0
        ? own
        : (withMost(free, (one) => canTake(one, queue)) ?? withMost(free));
    if (on === null) continue;
    free.set(on, (free.get(on) as number) - 1);
    events.add(left, { kind: 'end', on, done: { job, machine: on.id, begin: 0, end: left } });
  }
  const hand = (now: number): void => {
    /** For these nothing lies there. */
    const idle = new Set<SimulatedMachine>();
    const asks = (machine: SimulatedMachine): boolean => !idle.has(machine);
    // Whoever has most places free asks first, as machines do that all look at the same beat.
    for (let machine = withMost(free); machine !== null; machine = withMost(free, asks)) {
      const job = waiting.take(machine);
      if (job === undefined) {
        idle.add(machine);
        continue;
      }
      const end = now + night.seconds(job, machine.id);
      free.set(machine, (free.get(machine) as number) - 1);
      events.add(end, { kind: 'end', on: machine, done: { job, machine: machine.id, begin: now, end } });
    }
  };
  let ends = 0;
  for (let next = events.take(); next !== undefined; next = events.take()) {
    const { at, event } = next;
    if (event.kind === 'release') waiting.release(event.jobs);
    else {
      const { on, done } = event;
      tell(done);
      free.set(on, (free.get(on) as number) + 1);
      waiting.ended(done.job);
      ends += 1;
      if (ends % ENDS_A_STEP === 0) yield ENDS_A_STEP;
    }
    hand(at);
  }
  yield ends % ENDS_A_STEP;
}

/** null: none of these machines has a free slot. */
function withMost(
  free: ReadonlyMap<SimulatedMachine, number>,
  isAsked: (machine: SimulatedMachine) => boolean = () => true,
): SimulatedMachine | null {
  let found: SimulatedMachine | null = null;
  let most = 0;
  for (const [machine, slots] of free)
    if (slots > most && isAsked(machine)) {
      found = machine;
      most = slots;
    }
  return found;
}

/** A heap by time; of equal times what was added first. */
class Events<Event> {
  readonly #heap: { readonly at: number; readonly number: number; readonly event: Event }[] = [];
  #added = 0;

  add(at: number, event: Event): void {
    const heap = this.#heap;
    const entry = { at, number: this.#added, event };
    this.#added += 1;
    let hole = heap.length;
    heap.push(entry);
    while (hole > 0) {
      const parent = (hole - 1) >> 1;
      const above = heap[parent];
      if (above === undefined || !isBefore(entry, above)) break;
      heap[hole] = above;
      hole = parent;
    }
    heap[hole] = entry;
  }

  take(): { readonly at: number; readonly event: Event } | undefined {
    const heap = this.#heap;
    const first = heap[0];
    const last = heap.pop();
    if (first === undefined || last === undefined || heap.length === 0) return first;
    let hole = 0;
    for (;;) {
      const [left, right] = [heap[2 * hole + 1], heap[2 * hole + 2]];
      if (left === undefined) break;
      const [child, index] =
        right !== undefined && isBefore(right, left) ? [right, 2 * hole + 2] : [left, 2 * hole + 1];
      if (!isBefore(child, last)) break;
      heap[hole] = child;
      hole = index;
    }
    heap[hole] = last;
    return first;
  }
}

interface InTime {
  readonly at: number;
  readonly number: number;
}
const isBefore = (a: InTime, b: InTime): boolean => a.at < b.at || (a.at === b.at && a.number < b.number);
