/**
 * Which jobs lie in the queue, and which wait with the coordinator. Pure: the same for the run and the simulation.
 *
 * The queue holds a window, the first jobs in order, so that it stays small and the order of all others can still change.
 * A job that comes before some that lie there already is put between them by its priority: 1 is taken first, and of equal
 * ones the one that was added first.
 */

/** Enough for every slot of the farm to find its next job while the coordinator is away for a while. */
const JOBS_A_SLOT = 4;
export const SMALLEST_WINDOW = 500;
/** BullMQ takes priorities up to 2 097 151. */
export const LOWEST_PRIORITY = 2_097_151;
/** Between neighbours, so that others find room there. */
const STEP = 16;
const FIRST_PRIORITY = 1_024 * STEP;

export const windowOf = (slots: number): number => Math.max(SMALLEST_WINDOW, JOBS_A_SLOT * slots);

export interface WindowState<Item> {
  /** In order, all that no machine has: what waits with the coordinator, and what lies in the queue. Read no further than the window. */
  readonly ordered: Iterable<Item>;
  /** What lies in the queue, and no machine has, each with its priority. */
  readonly lying: ReadonlyMap<Item, number>;
  /** How many in the queue a machine has. */
  readonly held: number;
  /** Jobs that the machines which are fit for them run side by side. */
  readonly slots: number;
}

export interface WindowStep<Item> {
  /** In order. */
  readonly add: readonly { readonly item: Item; readonly priority: number }[];
  /** To be taken out of the queue first; then the window is filled anew. */
  readonly takeBack: readonly Item[];
}

/** False: there is too little room yet. Every job that ends would else cost a look at all that lie there. */
export function isWorthFilling(inQueue: number, slots: number): boolean {
  return inQueue <= (windowOf(slots) * 3) / 4;
}

/** What makes the queue hold the first jobs in order. */
export function fillWindow<Item>({ ordered, lying, held, slots }: WindowState<Item>): WindowStep<Item> {
  const size = windowOf(slots);
  const first = take(ordered, size - held);
  const wanted = first.filter((item) => !lying.has(item));
  const takeBack = new Set(disordered(first, lying));
  // Behind the window, where others want its room.
  const inside = new Set(first);
  const outside = [...lying].filter(([item]) => !inside.has(item)).sort((a, b) => b[1] - a[1]);
  const lacking = wanted.length - (size - held - lying.size);
  for (const [item] of outside.slice(0, Math.max(0, lacking))) takeBack.add(item);
  // The numbers are used up: everything is numbered anew.
  const highest = Math.max(0, ...lying.values());
  if (lying.size > 0 && wanted.length > 0 && highest + STEP * wanted.length > LOWEST_PRIORITY)
    return { add: [], takeBack: [...lying.keys()] };
  if (takeBack.size > 0) return { add: [], takeBack: [...takeBack] };
  return { add: numbered(first, lying), takeBack: [] };
}

function take<Item>(list: Iterable<Item>, most: number): Item[] {
  const taken: Item[] = [];
  if (most <= 0) return taken;
  for (const item of list) {
    taken.push(item);
    if (taken.length >= most) break;
  }
  return taken;
}

/** The fewest without which all others lie in order. */
function disordered<Item>(first: readonly Item[], lying: ReadonlyMap<Item, number>): Item[] {
  const there = first.flatMap((item) => {
    const priority = lying.get(item);
    return priority === undefined ? [] : [{ item, priority }];
  });
  // The longest subsequence that never falls: of each length the one with the lowest last number.
  const ends: number[] = [];
  const before: (number | undefined)[] = [];
  for (const [index, { priority }] of there.entries()) {
    const length = firstAbove(ends, (end) => (there[end]?.priority ?? 0) > priority);
    before.push(length === 0 ? undefined : ends[length - 1]);
    ends[length] = index;
  }
  const kept = new Set<number>();
  for (let index = ends.at(-1); index !== undefined; index = before[index]) kept.add(index);
  return there.filter((_, index) => !kept.has(index)).map(({ item }) => item);
}

/** The first place that is above, by halving. */
function firstAbove(list: readonly number[], isAbove: (value: number) => boolean): number {
  let low = 0;
  let high = list.length;
  while (low < high) {
    const middle = (low + high) >>> 1;
    if (isAbove(list[middle] ?? 0)) high = middle;
    else low = middle + 1;
  }
  return low;
}

/** Those that do not lie there yet, each between its neighbours that do. */
function numbered<Item>(
  first: readonly Item[],
  lying: ReadonlyMap<Item, number>,
): { item: Item; priority: number }[] {
  const add: { item: Item; priority: number }[] = [];
  let before: number | null = null;
  let gap: Item[] = [];
  const close = (behind: number | null): void => {
    for (const [index, item] of gap.entries())
      add.push({
        item,
        priority: between(before, behind, (index + 1) / (gap.length + 1)) ?? after(before, index),
      });
    gap = [];
  };
  for (const item of first) {
    const priority = lying.get(item);
    if (priority === undefined) gap.push(item);
    else {
      close(priority);
      before = priority;
    }
  }
  close(null);
  return add;
}

function between(before: number | null, behind: number | null, part: number): number | null {
  if (behind === null) return null;
  const low = before ?? 0;
  return Math.max(1, low, Math.floor(low + (behind - low) * part));
}

function after(before: number | null, index: number): number {
  const low = before === null ? FIRST_PRIORITY : before + STEP;
  return Math.min(LOWEST_PRIORITY, low + STEP * index);
}
