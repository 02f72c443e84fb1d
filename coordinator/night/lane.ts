/** The jobs of one queue: in their order, and which of them lie there. It decides nothing of a single job. */
import { inOrder, type OrderedJob } from '../dispatch/order.ts';
import { fillWindow, isWorthFilling, type WindowStep } from '../dispatch/window.ts';
import { isEnd, type JobRecord, type JobState } from './job-states.ts';

export interface LaneJob extends OrderedJob {
  readonly record: JobRecord;
  /** With which it was put into the queue last. */
  readonly priority: number;
  /** It is not begun yet, whatever room there is: others must end before. */
  readonly isWaiting: boolean;
}

const liesThere = (state: JobState): boolean => state === 'sending' || state === 'queued';

export class Lane<Item extends LaneJob> {
  readonly queue: string;
  /** In the queue, and no machine has them: each with its priority. */
  readonly lying = new Map<Item, number>();
  /** Machines have them. */
  readonly held = new Set<Item>();
  /** In no end state. */
  readonly #open = new Set<Item>();
  /** Came back: they were first before, and are so again. */
  readonly #returned = new Set<Item>();
  #ordered: Item[] = [];
  /** Before this one all have ended, or machines have them, or they came back. */
  #start = 0;
  #isOrdered = true;
  #slots = 0;
  #waiting = 0;
  #turn: Promise<void> | null = null;
  #another: Promise<void> | null = null;

  constructor(queue: string) {
    this.queue = queue;
  }

  get size(): number {
    return this.#open.size;
  }

  /** In no end state. */
  open(): Iterable<Item> {
    return this.#open;
  }

  /** A new job, pending. */
  enter(item: Item): void {
    this.#open.add(item);
    this.#waiting += 1;
    this.#isOrdered = false;
  }

  /** It waits for nobody any more, and comes first. */
  release(item: Item): void {
    this.#returned.add(item);
  }

  moved(item: Item, from: JobState, to: JobState): void {
    if (liesThere(to)) this.lying.set(item, item.priority);
    else this.lying.delete(item);
    if (to === 'active') this.held.add(item);
    else this.held.delete(item);
    this.#waiting += Number(to === 'pending') - Number(from === 'pending');
    // Only these may have been passed over: what was taken back stands where it stood.
    if (!isFreeState(from) && isFreeState(to)) this.#returned.add(item);
    if (!isEnd(to)) return;
    this.#open.delete(item);
    this.#returned.delete(item);
  }

  /** So much room in the window that others should come. */
  lacksJobs(): boolean {
    return (
      this.#waiting > 0 &&
      this.#turn === null &&
      isWorthFilling(this.lying.size + this.held.size, this.#slots)
    );
  }

  /** What makes the queue hold the first jobs in order. */
  next(slots: number): WindowStep<Item> {
    if (!this.#isOrdered || slots !== this.#slots) {
      this.#slots = slots;
      this.#ordered = inOrder([...this.#open].filter(isFree), slots);
      this.#returned.clear();
      this.#start = 0;
      this.#isOrdered = true;
    }
    return fillWindow({ ordered: this.#free(), lying: this.lying, held: this.held.size, slots });
  }

  *#free(): Iterable<Item> {
    for (const item of this.#returned) if (isFree(item)) yield item;
    while (this.#start < this.#ordered.length && !isFree(this.#ordered[this.#start] as Item))
      this.#start += 1;
    // What is behind it is held by nobody else any more.
    if (this.#start > this.#ordered.length / 2) {
      this.#ordered = this.#ordered.slice(this.#start);
      this.#start = 0;
    }
    for (let index = this.#start; index < this.#ordered.length; index += 1) {
      const item = this.#ordered[index] as Item;
      if (isFree(item) && !this.#returned.has(item)) yield item;
    }
  }

  /** Resolves when the task was done at least once from now on; what is asked for while it waits its turn is one turn. */
  async oneAtATime(task: () => Promise<void>): Promise<void> {
    if (this.#turn === null) {
      this.#turn = task().finally(() => {
        this.#turn = null;
      });
      return await this.#turn;
    }
    this.#another ??= this.#turn
      .catch(() => undefined)
      .then(() => {
        this.#another = null;
        return this.oneAtATime(task);
      });
    return await this.#another;
  }
}

/** No machine has it. */
const isFreeState = (state: JobState): boolean => state === 'pending' || liesThere(state);
const isFree = ({ record: { state }, isWaiting }: LaneJob): boolean => !isWaiting && isFreeState(state);
