/**
 * A night in discrete events: rolls come, machines take jobs in order, jobs end. What decides is not imitated here: order and window are the
 * functions that the run itself goes by. How long a job takes is asked of whoever calls; nothing else is left to chance.
 */
import { type Steps, whole } from './steps.ts';

export interface SimulatedMachine {
  readonly id: string;
  /** Jobs side by side. */
  readonly slots: number;
}

/** Who has the jobs that no machine has taken. */
export interface Waiting<Item> {
  /** Jobs that can be begun from now on. */
  release(jobs: readonly Item[]): void;
  /** The next one, for whoever has a free slot. */
  take(): Item | undefined;
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
    | { readonly kind: 'end'; readonly done: SimulatedEnd<Item> }
  >();
  const { machines, waiting } = night;
  const free = new Map(machines.map(({ id, slots }) => [id, slots]));
  for (const { at, jobs } of night.releases) events.add(at, { kind: 'release', jobs });
  for (const { job, machine, left } of night.running) {
    const on = machine !== null && (free.get(machine) ?? 0) > 0 ? machine : withMost(free);
    if (on === null) continue;
    free.set(on, (free.get(on) as number) - 1);
    events.add(left, { kind: 'end', done: { job, machine: on, begin: 0, end: left } });
  }
  const hand = (now: number): void => {
    // Whoever has most places free asks first, as machines do that all look at the same beat.
    for (let machine = withMost(free); machine !== null; machine = withMost(free)) {
      const job = waiting.take();
      if (job === undefined) return;
      const end = now + night.seconds(job, machine);
      free.set(machine, (free.get(machine) as number) - 1);
      events.add(end, { kind: 'end', done: { job, machine, begin: now, end } });
    }
  };
  let ends = 0;
  for (let next = events.take(); next !== undefined; next = events.take()) {
    const { at, event } = next;
    if (event.kind === 'release') waiting.release(event.jobs);
    else {
      const { done } = event;
      tell(done);
      free.set(done.machine, (free.get(done.machine) as number) + 1);
      waiting.ended(done.job);
      ends += 1;
      if (ends % ENDS_A_STEP === 0) yield ENDS_A_STEP;
    }
    hand(at);
  }
  yield ends % ENDS_A_STEP;
}

/** null: no machine has a free slot. */
function withMost(free: ReadonlyMap<string, number>): string | null {
  let found: string | null = null;
  let most = 0;
  for (const [id, slots] of free)
    if (slots > most) {
      found = id;
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
