/** Clips that are cut, in a simulated night: what joins segments waits until all of them are made, and then goes first. Pure but for what it remembers. */
import { canTake, type Waiting } from './simulate.ts';

export interface OfCut {
  /** Of a clip that is cut: which clip that is, and whether this job joins its segments or makes one; absent: it makes a whole clip. */
  readonly cut?: { readonly clip: string; readonly joins: boolean } | undefined;
}

export const joins = ({ cut }: OfCut): boolean => cut?.joins === true;

/** `running`: jobs that a machine has already. `queueOf`: as of Simulated. */
export function afterSegments<Item extends OfCut>(
  inner: Waiting<Item>,
  running: readonly Item[],
  queueOf: (job: Item) => string | null = () => null,
): Waiting<Item> {
  /** By clip, segments that are not made yet. */
  const open = new Map<string, number>();
  const held = new Map<string, Item>();
  const ready: Item[] = [];
  const count = ({ cut }: Item, by: number): void => {
    if (cut !== undefined && !cut.joins) open.set(cut.clip, (open.get(cut.clip) ?? 0) + by);
  };
  const isReady = (clip: string): boolean => (open.get(clip) ?? 0) === 0;
  for (const item of running) count(item, 1);
  return {
    release(jobs) {
      for (const item of jobs) count(item, 1);
      for (const item of jobs) {
        if (item.cut === undefined || !joins(item)) continue;
        if (isReady(item.cut.clip)) ready.push(item);
        else held.set(item.cut.clip, item);
      }
      inner.release(jobs.filter((item) => !joins(item)));
    },
    take(machine) {
      const first = ready.findIndex((item) => canTake(machine, queueOf(item)));
      return first < 0 ? inner.take(machine) : ready.splice(first, 1)[0];
    },
    ended(item) {
      count(item, -1);
      if (!joins(item)) inner.ended(item);
      const waits = item.cut === undefined ? undefined : held.get(item.cut.clip);
      if (item.cut === undefined || waits === undefined || !isReady(item.cut.clip)) return;
      held.delete(item.cut.clip);
      ready.push(waits);
    },
  };
}
