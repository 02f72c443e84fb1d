/** Jobs that wait in a simulated night, held by the functions that hold them in a real one. Pure but for what it remembers. */
import { inOrder, type OrderedJob } from '../dispatch/order.ts';
import { fillWindow, isWorthFilling } from '../dispatch/window.ts';
import type { Waiting } from './simulate.ts';

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
  const list: Item[] = [];
  let next = 0;
  return {
    release: (jobs) => {
      for (const job of jobs) list.push(job);
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
  /** What no machine has. */
  let open: Item[] = [];
  const queued = new Map<Item, { readonly priority: number; readonly added: number }>();
  let added = 0;
  let held = 0;
  const fill = (): void => {
    const step = fillWindow({
      ordered: open,
      priorityOf: (item) => queued.get(item)?.priority,
      out: queued.size + held,
      held,
      slots,
    });
    for (const item of step.takeBack) queued.delete(item);
    for (const { item, priority } of step.add) queued.set(item, { priority, added: (added += 1) });
    if (step.takeBack.length > 0) fill();
  };
  return {
    release(jobs) {
      open = inOrder([...open, ...jobs], slots);
      fill();
    },
    take() {
      let first: Item | undefined;
      let best = { priority: Number.POSITIVE_INFINITY, added: 0 };
      for (const [item, place] of queued)
        if (place.priority < best.priority || (place.priority === best.priority && place.added < best.added)) {
          first = item;
          best = place;
        }
      if (first === undefined) return undefined;
      const taken = first;
      queued.delete(taken);
      open.splice(open.indexOf(taken), 1);
      held += 1;
      return taken;
    },
    ended() {
      held -= 1;
      if (isWorthFilling({ out: queued.size + held, slots })) fill();
    },
  };
}
