/** How runs share a farm by their weights: what is decided, played through with the decision's own functions and time of the test. */
import { describe, expect, test } from 'vitest';
import { MOST_BEHIND, readTag, shareOf, type Tag, tagOf, turnsOf } from '../../ledger/shares.ts';

interface Played {
  readonly run: string;
  readonly weight: number;
  /** Seconds of each of its jobs, in turn. */
  readonly lengths: readonly number[];
  /** While it has jobs to give: from, to, seconds. */
  readonly from?: number;
  readonly to?: number;
}

interface Taken {
  readonly run: string;
  readonly slot: number;
  readonly begin: number;
  readonly end: number;
}

/** A farm of slots, each with the runs that it serves, until `until`. Charged 10 s at the beginning, as of a run that nobody knows, and set right at the end. */
function play(runs: readonly Played[], slots: readonly (readonly string[])[], until: number): Taken[] {
  const tags = new Map<string, Tag>();
  const counts = new Map<string, number>();
  const taken: Taken[] = [];
  const free = slots.map((_, slot) => ({ slot, at: 0 }));
  const settling: { at: number; run: string; charged: number; took: number }[] = [];
  for (;;) {
    free.sort((a, b) => a.at - b.at || a.slot - b.slot);
    const next = free[0];
    if (next === undefined || next.at >= until) return taken;
    for (const one of settling.filter(({ at }) => at <= next.at)) {
      const { done, inHand } = tags.get(one.run) as Tag;
      tags.set(one.run, { done: done + one.took, inHand: inHand - one.charged });
      settling.splice(settling.indexOf(one), 1);
    }
    const serves = runs.map(({ run }) => run).filter((run) => slots[next.slot]?.includes(run));
    const has = ({ from = 0, to = until }: Played): boolean => next.at >= from && next.at < to;
    const turn = turnsOf(serves, tags)
      .map((run) => runs.find((one) => one.run === run) as Played)
      .find(has);
    if (turn === undefined) {
      next.at += 1;
      continue;
    }
    const { run, weight, lengths } = turn;
    const count = counts.get(run) ?? 0;
    counts.set(run, count + 1);
    const length = lengths[count % lengths.length] as number;
    const from = tagOf(run, serves, tags);
    const inHand = tags.get(run)?.inHand ?? 0;
    tags.set(run, { done: from - inHand, inHand: inHand + 10 / weight });
    settling.push({ at: next.at + length, run, charged: 10 / weight, took: length / weight });
    taken.push({ run, slot: next.slot, begin: next.at, end: next.at + length });
    next.at += length;
  }
}

const seconds = (taken: readonly Taken[], run: string, from = 0): number =>
  taken
    .filter((one) => one.run === run && one.begin >= from)
    .reduce((sum, { begin, end }) => sum + end - begin, 0);
const all = (slots: number, ...runs: string[]): string[][] => Array.from({ length: slots }, () => runs);

describe('two runs that always have jobs', () => {
  test.each([
    ['one slot', 1, 3, [20], [20]],
    ['four slots', 4, 3, [20], [20]],
    ['more slots than their weights', 20, 3, [20], [20]],
    ['jobs of other lengths', 4, 3, [60], [7]],
    ['the lighter one with long jobs', 4, 3, [7], [60]],
    ['jobs far shorter than they are thought to be', 4, 3, [0.1], [0.1]],
    ['jobs that vary', 5, 7, [3, 90, 14], [44, 2]],
    ['the greatest weight', 8, 100, [5], [5]],
  ])('%s: seconds are in proportion to weights', (_, slots, weight, ofA, ofB) => {
    const runs = [
      { run: 'a', weight, lengths: ofA },
      { run: 'b', weight: 1, lengths: ofB },
    ];
    const taken = play(runs, all(slots, 'a', 'b'), 6_000);
    const [a, b] = [seconds(taken, 'a'), seconds(taken, 'b')];
    expect(b).toBeGreaterThan(0);
    expect(a / (a + b)).toBeCloseTo(weight / (weight + 1), 1.7);
  });

  test('no slot rests while one has jobs, and the other then has it all', () => {
    const runs = [
      { run: 'a', weight: 3, lengths: [20], to: 1_000 },
      { run: 'b', weight: 1, lengths: [20] },
    ];
    const taken = play(runs, all(2, 'a', 'b'), 4_000);
    expect(seconds(taken, 'a') + seconds(taken, 'b')).toBeGreaterThanOrEqual(2 * 4_000);
    expect(taken.filter(({ begin, run }) => begin >= 1_000 && run === 'a')).toEqual([]);
  });
});

test('a run that comes late takes its share from then on, and nothing of what it was not there for', () => {
  const runs = [
    { run: 'a', weight: 1, lengths: [20] },
    { run: 'b', weight: 1, lengths: [20], from: 4_000 },
  ];
  const taken = play(runs, all(4, 'a', 'b'), 8_000);
  expect(seconds(taken, 'b', 4_000) / seconds(taken, 'a', 4_000)).toBeCloseTo(1, 1);
  // At once, and not only when it has caught up with half of an evening.
  const soon = taken.filter(({ begin }) => begin >= 4_000 && begin < 4_200);
  expect(soon.filter(({ run }) => run === 'a').length).toBeGreaterThan(10);
});

test('a run that had nothing for long is let forward by a bounded time alone', () => {
  const tags = new Map([
    ['a', { done: 50_000, inHand: 0 }],
    ['b', { done: 40, inHand: 10 }],
  ]);
  expect(tagOf('b', ['a', 'b'], tags)).toBe(50_000 - MOST_BEHIND);
  expect(turnsOf(['a', 'b'], tags)).toEqual(['b', 'a']);
});

test('a run that fewer machines serve has more of those, so that all slots together are shared by weight', () => {
  const runs = [
    { run: 'a', weight: 1, lengths: [10] },
    { run: 'b', weight: 1, lengths: [10] },
  ];
  // Two slots serve a alone; two serve both.
  const taken = play(runs, [['a'], ['a'], ['a', 'b'], ['a', 'b']], 4_000);
  expect(seconds(taken, 'b') / seconds(taken, 'a')).toBeCloseTo(1, 1);
});

test.each([
  [1, [], 1],
  [3, [1], 3 / 4],
  [1, [3, 4], 1 / 8],
])('weight %d beside %j: %d of a machine', (weight, others, share) => {
  expect(shareOf(weight, others)).toBeCloseTo(share, 12);
});

test.each([
  ['12.5 3', { done: 12.5, inHand: 3 }],
  ['0.000000 0.000000', { done: 0, inHand: 0 }],
  ['12.5', null],
  ['', null],
  ['a b', null],
])('what stands there as %j is %j', (text, tag) => {
  expect(readTag(text)).toEqual(tag);
});
