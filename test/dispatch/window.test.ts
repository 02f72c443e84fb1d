import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { fillWindow, isWorthFilling, LOWEST_PRIORITY, windowOf } from '../../coordinator/dispatch/window.ts';

/** A queue as BullMQ keeps it: by priority, and of equal ones by the time they were added. */
class Store {
  readonly lying = new Map<number, number>();

  /** Until the window asks for nothing more; how often it asked. */
  fill(ordered: readonly number[], held: number, slots: number): number {
    for (let round = 1; ; round += 1) {
      const { add, takeBack } = fillWindow({ ordered, lying: this.lying, held, slots });
      for (const item of takeBack) this.lying.delete(item);
      for (const { item, priority } of add) this.lying.set(item, priority);
      const priorities = [0, ...add.map(({ priority }) => priority)];
      expect(Math.max(...priorities)).toBeLessThanOrEqual(LOWEST_PRIORITY);
      expect(Math.min(...priorities.slice(1), 1)).toBe(1);
      if (add.length === 0 && takeBack.length === 0) return round;
      expect(round).toBeLessThan(4);
    }
  }

  inOrder(): number[] {
    return [...this.lying].sort((a, b) => a[1] - b[1]).map(([item]) => item);
  }
}

const upTo = (count: number, from = 0): number[] => Array.from({ length: count }, (_, index) => from + index);

describe('the window', () => {
  test('is four times the slots, and at least 500', () => {
    expect([1, 64, 125, 126, 1_000].map(windowOf)).toEqual([500, 500, 500, 504, 4_000]);
  });

  test('holds the first jobs in order, and no more', () => {
    const store = new Store();
    store.fill(upTo(2_000), 0, 2);
    expect(store.inOrder()).toEqual(upTo(500));
  });

  test('counts what machines have', () => {
    const store = new Store();
    store.fill(upTo(2_000), 40, 2);
    expect(store.lying.size).toBe(460);
  });

  test('is not looked at for every job that ends', () => {
    expect(isWorthFilling(500, 2)).toBe(false);
    expect(isWorthFilling(376, 2)).toBe(false);
    expect(isWorthFilling(375, 2)).toBe(true);
  });

  test('takes in what became first, between and before what lies there; the last make room', () => {
    const store = new Store();
    store.fill(upTo(600), 0, 2);
    const urgent = [9_001, 9_002, 9_003];
    const ordered = [...urgent, ...upTo(10), 9_100, ...upTo(590, 10)];
    store.fill(ordered, 0, 2);
    expect(store.inOrder()).toEqual(ordered.slice(0, 500));
  });

  test('leaves what lies there in order where it is', () => {
    const store = new Store();
    store.fill(upTo(400), 0, 2);
    const before = new Map(store.lying);
    store.fill([...upTo(400), ...upTo(50, 1_000)], 0, 2);
    for (const [item, priority] of before) expect(store.lying.get(item)).toBe(priority);
    expect(store.lying.size).toBe(450);
  });

  test('a roll whose hour was brought forward is sent anew, and not the others', () => {
    const store = new Store();
    store.fill(upTo(300), 0, 2);
    const before = new Map(store.lying);
    const ordered = [...upTo(20, 280), ...upTo(280)];
    store.fill(ordered, 0, 2);
    expect(store.inOrder()).toEqual(ordered);
    for (const item of upTo(280)) expect(store.lying.get(item)).toBe(before.get(item));
  });

  test('200 000 jobs go through it in order, though the numbers are used up on the way', () => {
    const store = new Store();
    let next = 0;
    for (let done = 0; done < 200_000; ) {
      const all = function* () {
        yield* store.inOrder();
        for (let item = next; item < 200_000; item += 1) yield item;
      };
      store.fill([...take(all(), 500)], 0, 2);
      next = Math.max(next, ...store.lying.keys()) + 1;
      const taken = store.inOrder().slice(0, 250);
      expect(taken).toEqual(upTo(250, done));
      for (const item of taken) store.lying.delete(item);
      done += taken.length;
    }
  });

  test('whatever the order becomes, the queue has its first jobs', () => {
    fc.assert(
      fc.property(
        fc.shuffledSubarray(upTo(700), { minLength: 600 }),
        fc.shuffledSubarray(upTo(700), { minLength: 1 }),
        (one, other) => {
          const store = new Store();
          store.fill(one, 0, 2);
          // What is not in the order any more was taken back or has ended.
          for (const item of store.lying.keys()) if (!other.includes(item)) store.lying.delete(item);
          store.fill(other, 0, 2);
          expect([...store.lying.keys()].sort()).toEqual(other.slice(0, 500).sort());
        },
      ),
      { numRuns: 20 },
    );
  });
});

function* take(list: Iterable<number>, most: number): Iterable<number> {
  let left = most;
  for (const item of list) {
    if (left <= 0) return;
    left -= 1;
    yield item;
  }
}
