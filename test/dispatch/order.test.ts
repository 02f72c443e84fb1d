import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { inOrder, type OrderedJob, type RollRank } from '../../coordinator/dispatch/order.ts';

interface Named extends OrderedJob {
  readonly name: string;
}

const plain = (place: number): RollRank => ({ first: null, due: null, place });
const job = (name: string, roll: RollRank, place: number, seconds = 60): Named => ({
  name,
  roll,
  place,
  seconds,
});
const names = (jobs: readonly Named[]): string => jobs.map(({ name }) => name).join(' ');

/** When the last of them ends, and of each roll, if every slot takes the next in the list as soon as it is free. */
function carriedOut(jobs: readonly OrderedJob[], slots: number) {
  const free = new Array<number>(slots).fill(0);
  const rolls = new Map<number, number>();
  for (const { roll, seconds } of jobs) {
    free.sort((a, b) => a - b);
    const end = (free[0] ?? 0) + seconds;
    free[0] = end;
    rolls.set(roll.place, Math.max(end, rolls.get(roll.place) ?? 0));
  }
  return { makespan: Math.max(...free), rolls };
}

describe('the order of jobs', () => {
  test('rolls asked first, then those due earlier, then the others as the day has them', () => {
    const jobs = [
      job('plain', plain(0), 0),
      job('due-7', { first: null, due: 7, place: 1 }, 0),
      job('due-6', { first: null, due: 6, place: 2 }, 0),
      job('asked-2', { first: 1, due: null, place: 3 }, 0),
      job('asked-1', { first: 0, due: 9, place: 4 }, 0),
    ];
    expect(names(inOrder(jobs, 4))).toBe('asked-1 asked-2 due-6 due-7 plain');
    expect(names(inOrder([...jobs].reverse(), 4))).toBe('asked-1 asked-2 due-6 due-7 plain');
  });

  test('proxies of all rolls before masters, whichever are asked for first or due', () => {
    const jobs = [
      job('plain', plain(0), 0),
      job('due', { first: null, due: 6, place: 1 }, 0),
      job('asked', { first: 0, due: null, place: 2 }, 0),
    ].flatMap((one): Named[] => [
      { ...one, name: `${one.name}-m`, wave: 'masters' },
      { ...one, name: `${one.name}-p`, wave: 'proxies' },
    ]);
    expect(names(inOrder(jobs, 4))).toBe('asked-p due-p plain-p asked-m due-m plain-m');
    // The long master would form the tail: it is begun first among masters, and before no proxy.
    const long: Named = { ...job('long', plain(3), 0, 900), wave: 'masters' };
    expect(names(inOrder([...jobs, long], 4))).toMatch(/^asked-p due-p plain-p (?=.*long)/);
  });

  test('clips of a roll go in their own order where none of them forms a tail', () => {
    const jobs = [0, 1, 2, 3, 4, 5].map((place) => job(`c${place}`, plain(0), place));
    expect(names(inOrder(jobs, 2))).toBe('c0 c1 c2 c3 c4 c5');
  });

  test('one slot needs no other order', () => {
    const jobs = [job('short', plain(0), 0, 1), job('long', plain(0), 1, 99), job('last', plain(0), 2, 1)];
    expect(names(inOrder(jobs, 1))).toBe('short long last');
  });

  test('the long clip at the end of a roll is begun in time to end with the rest', () => {
    const jobs = [
      ...Array.from({ length: 12 }, (_, place) => job(`c${place}`, plain(0), place, 10)),
      job('long', plain(0), 12, 40),
    ];
    const ordered = inOrder(jobs, 4);
    // 160 s of work in four slots.
    expect(carriedOut(ordered, 4).makespan).toBe(40);
    expect(carriedOut(jobs, 4).makespan).toBe(70);
  });

  test('no roll that is due earlier waits for a long clip of a later one', () => {
    const early = Array.from({ length: 8 }, (_, place) =>
      job(`e${place}`, { first: null, due: 6, place: 1 }, place, 10),
    );
    const jobs = [job('long', { first: null, due: 7, place: 0 }, 0, 500), ...early];
    expect(carriedOut(inOrder(jobs, 2), 2).rolls.get(1)).toBe(40);
  });

  // R. L. Graham, "Bounds on multiprocessing timing anomalies" (1969): longest first throughout ends within 4/3 of the best. Here the
  // order is kept where it can be, which costs a little of that.
  test('ends within 1.4 of the lower bound, whatever the lengths', () => {
    fc.assert(
      fc.property(
        fc.array(fc.integer({ min: 1, max: 500 }), { minLength: 1, maxLength: 120 }),
        fc.integer({ min: 2, max: 16 }),
        (lengths, slots) => {
          const jobs = lengths.map((seconds, place) => job(`${place}`, plain(place % 5), place, seconds));
          const ordered = inOrder(jobs, slots);
          expect([...ordered].sort((a, b) => a.place - b.place)).toEqual(jobs);
          const total = lengths.reduce((sum, seconds) => sum + seconds, 0);
          const lengthsDown = [...lengths].sort((a, b) => b - a);
          // Of slots + 1 jobs two share a slot.
          const pair = (lengthsDown[slots - 1] ?? 0) + (lengthsDown[slots] ?? 0);
          const bound = Math.max(total / slots, lengthsDown[0] ?? 0, lengths.length > slots ? pair : 0);
          expect(carriedOut(ordered, slots).makespan).toBeLessThanOrEqual(bound * 1.4);
        },
      ),
    );
  });

  test.each([2, 8, 64])(
    '2 000 clips of a mixed day on %i slots end within 1.05 of the lower bound',
    (slots) => {
      // Many short clips, a few of a quarter of an hour, the longest in the last roll.
      const jobs = Array.from({ length: 2_000 }, (_, place) =>
        job(
          `${place}`,
          plain(Math.floor(place / 100)),
          place % 100,
          place % 97 === 96 ? 900 : 20 + ((place * 37) % 80),
        ),
      );
      const total = jobs.reduce((sum, { seconds }) => sum + seconds, 0);
      const bound = Math.max(total / slots, 900);
      expect(carriedOut(inOrder(jobs, slots), slots).makespan).toBeLessThanOrEqual(bound * 1.05);
    },
  );
});
