/** Pure decisions of a standing coordinator: what is settled, and which night is next. */
import { expect, test } from 'vitest';
import { type DayToTake, nextNight, rollsToTake } from '../../coordinator/nights/next.ts';
import { type RollSighting, settlingOf, sightRoll } from '../../coordinator/nights/settled.ts';

const patience = { settledMilliseconds: 100, incompleteMilliseconds: 1_000 };

test('a roll is settled when nothing of it changed for the time, and one that lacks something much later', () => {
  let sighting: RollSighting | undefined;
  const at = (now: number, seen: string, lacks: number) => {
    sighting = sightRoll(sighting, { seen, lacks }, now);
    return settlingOf(sighting, patience, now);
  };
  expect(at(0, 'a', 2)).toBe('growing');
  expect(at(99, 'a', 2)).toBe('growing');
  expect(at(100, 'a', 2)).toBe('incomplete');
  // The manifest is written to its end: it begins anew.
  expect(at(150, 'b', 0)).toBe('growing');
  expect(at(249, 'b', 0)).toBe('growing');
  expect(at(250, 'b', 0)).toBe('settled');
  expect(at(260, 'c', 1)).toBe('growing');
  expect(at(1_259, 'c', 1)).toBe('incomplete');
  expect(at(1_260, 'c', 1)).toBe('settled');
});

const roll = (
  name: string,
  settling: 'growing' | 'settled',
  taken: 'begun' | 'over' | null = null,
  seen = 's',
) => ({
  ...{ roll: name, seen: 's', settling },
  taken: taken === null ? null : { day: 'd', roll: name, seen, asked: 'q', state: taken, verdict: null },
});
const day = (over: Partial<DayToTake>): DayToTake => ({
  ...{ day: 'd', folder: '/d', take: 'rolls', asked: 'q', rolls: [roll('A001', 'settled')] },
  ...{ due: null, weight: 1, served: 0, notBefore: 0 },
  ...over,
});
const names = (one: DayToTake): string[] => rollsToTake(one).map((item) => item.roll);

test('what is over is not taken again until its files or what is asked of it change; what was begun goes on at once', () => {
  expect(names(day({ rolls: [roll('A001', 'settled', 'over')] }))).toEqual([]);
  expect(names(day({ rolls: [roll('A001', 'settled', 'over', 'older')] }))).toEqual(['A001']);
  expect(names(day({ asked: 'other', rolls: [roll('A001', 'settled', 'over')] }))).toEqual(['A001']);
  expect(names(day({ rolls: [roll('A001', 'growing', 'begun')] }))).toEqual(['A001']);
  expect(names(day({ rolls: [roll('A001', 'growing', 'begun', 'older')] }))).toEqual([]);
});

test('rolls are taken as they settle, or, where it is asked for, a whole day at once', () => {
  const rolls = [roll('A001', 'settled'), roll('B001', 'growing'), roll('C001', 'settled', 'over')];
  expect(names(day({ rolls }))).toEqual(['A001']);
  expect(names(day({ rolls, take: 'days' }))).toEqual([]);
  expect(names(day({ rolls: [rolls[0], rolls[2]].flatMap((one) => one ?? []), take: 'days' }))).toEqual([
    'A001',
  ]);
});

test('the earlier hour is first, then who had the least for its weight; a night that failed waits', () => {
  const next = (...days: DayToTake[]) => nextNight(days, 10)?.day ?? null;
  expect(next(day({ day: 'a' }), day({ day: 'b', due: 9 }), day({ day: 'c', due: 5 }))).toBe('c');
  expect(next(day({ day: 'a', served: 100 }), day({ day: 'b', served: 150, weight: 2 }))).toBe('b');
  expect(next(day({ day: 'a', served: 100 }), day({ day: 'b', served: 250, weight: 2 }))).toBe('a');
  expect(next(day({ day: 'a', notBefore: 11 }), day({ day: 'b', served: 9 }))).toBe('b');
  expect(next(day({ day: 'a', rolls: [] }))).toBe(null);
});
