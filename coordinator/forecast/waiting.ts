/** Jobs that wait in a simulated night, held by the functions that hold them in a real one. Pure but for what it remembers. */
import { inOrder, type OrderedJob } from '../dispatch/order.ts';
import { fillWindow, isWorthFilling } from '../dispatch/window.ts';
import { canTake, type SimulatedMachine, type Waiting } from './simulate.ts';

/** In the planner's order, as if the queue held all of them. `slots`: jobs that run side by side. */
export function ordered<Item extends OrderedJob>(slots: number): Waiting<Item> {
  let list: Item[] = [];
  let next = 0;
  return {
    release(jobs) {
      list = inOrder([...list.slice(next), ...jobs], slots);
      next = 0;
    },
    take() {
      const item = list[next];
      if (item !== undefined) next += 1;
      return item;
    },
    ended: () => undefined,
  };
}

/** In an order that is known already. */
export function listed<Item>(): Waiting<Item> {
  let list: readonly Item[] = [];
  let next = 0;
  return {
    // The first ones as they are: many nights are simulated of one list.
    release: (jobs) => {
      list = next === list.length ? jobs : [...list.slice(next), ...jobs];
      next = 0;
    },
    take() {
      const item = list[next];
      if (item !== undefined) next += 1;
      return item;
    },
    ended: () => undefined,
  };
}

/** In the planner's order, through the window that the queue holds: by priority, and of equal ones what was added first. */
export function windowed<Item extends OrderedJob>(slots: number): Waiting<Item> {
  /** What no machine has, in order. */
  const open = new Set<Item>();
  /** Of these, what lies in the queue; in the order in which it was added. */
  const lying = new Map<Item, number>();
  let held = 0;
  const fill = (): void => {
    const step = fillWindow({ ordered: open, lying, held, slots });
    for (const item of step.takeBack) lying.delete(item);
    for (const { item, priority } of step.add) lying.set(item, priority);
    if (step.takeBack.length > 0) fill();
  };
  return {
    release(jobs) {
      const list = inOrder([...open, ...jobs], slots);
      open.clear();
      for (const item of list) open.add(item);
      fill();
    },
    take() {
      let first: { readonly item: Item; readonly priority: number } | undefined;
      for (const [item, priority] of lying)
        if (first === undefined || priority < first.priority) first = { item, priority };
      if (first === undefined) return undefined;
      lying.delete(first.item);
      open.delete(first.item);
      held += 1;
      return first.item;
    },
    ended() {
      held -= 1;
      if (isWorthFilling(lying.size + held, slots)) fill();
    },
  };
}

/**
 * A queue for each class of jobs, as on a farm: a machine takes from those that it is fit for, first from one that fewer machines are fit for, which
 * is one that needs more. `waiting`: of one queue, for so many slots as the machines have that take from it.
 */
export function inQueues<Item extends Pick<OrderedJob, 'wave'>>(
  machines: readonly SimulatedMachine[],
  queueOf: (job: Item) => string | null,
  waiting: (slots: number) => Waiting<Item>,
): Waiting<Item> {
  interface Lane {
    readonly queue: string | null;
    readonly fit: number;
    readonly isLast: boolean;
    readonly own: Waiting<Item>;
  }
  const lanes = new Map<string | null, Lane>();
  let inTurn: readonly Lane[] = [];
  const laneOf = (queue: string | null, job: Item): Lane => {
    const known = lanes.get(queue);
    if (known !== undefined) return known;
    const fit = machines.filter((machine) => canTake(machine, queue));
    const own = waiting(
      Math.max(
        1,
        fit.reduce((sum, { slots }) => sum + slots, 0),
      ),
    );
    const lane = { queue, fit: fit.length, isLast: job.wave === 'masters', own };
    lanes.set(queue, lane);
    // Two waves lie in two queues.
    inTurn = [...lanes.values()].sort((a, b) => Number(a.isLast) - Number(b.isLast) || a.fit - b.fit);
    return lane;
  };
  return {
    release(jobs) {
      const parts = new Map<Lane, Item[]>();
      for (const job of jobs) {
        const lane = laneOf(queueOf(job), job);
        const part = parts.get(lane);
        if (part === undefined) parts.set(lane, [job]);
        else part.push(job);
      }
      for (const [lane, part] of parts) lane.own.release(part);
    },
    take(machine) {
      for (const { queue, own } of inTurn) {
        const item = canTake(machine, queue) ? own.take(machine) : undefined;
        if (item !== undefined) return item;
      }
      return undefined;
    },
    ended: (item) => lanes.get(queueOf(item))?.own.ended(item),
  };
}
