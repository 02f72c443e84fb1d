/** Hours of the day as moments, by clocks of the IANA Time Zone Database, and what is late. */
import { describe, expect, test } from 'vitest';
import { hourOf, nextMoment } from '../../coordinator/forecast/due.ts';
import { duesOf, inTime } from '../../coordinator/forecast/dues.ts';
import { byDue } from '../../coordinator/dispatch/by-due.ts';
import {
  forecastLine,
  forecastText,
  hoursText,
  lateNotes,
  rangeText,
} from '../../coordinator/show/forecast-text.ts';
import { settingsSchema } from '../../coordinator/settings/schema.ts';
import { FindingError } from '../../findings/finding.ts';

const at = (text: string): number => Date.parse(text);
const next = (hour: string, zone: string, now: string): string => {
  const parsed = hourOf(hour);
  if (parsed === null) throw new Error(hour);
  return new Date(nextMoment(parsed, zone, at(now))).toISOString();
};

/** Offsets and changes of the clocks: IANA Time Zone Database, `zdump -v Europe/Berlin`, `America/New_York` (2026). */
test.each([
  // 2026-11-30, winter: UTC+1.
  ['06:00', 'Europe/Berlin', '2026-11-30T21:00:00Z', '2026-12-01T05:00:00.000Z'],
  ['23:00', 'Europe/Berlin', '2026-11-30T21:00:00Z', '2026-11-30T22:00:00.000Z'],
  // Exactly now is a day away: it is due at the next one.
  ['22:00', 'Europe/Berlin', '2026-11-30T21:00:00Z', '2026-12-01T21:00:00.000Z'],
  // 2026-03-29 01:00 UTC the clocks go from 02:00 to 03:00: 02:30 is never shown, and is passed then.
  ['06:00', 'Europe/Berlin', '2026-03-28T21:00:00Z', '2026-03-29T04:00:00.000Z'],
  ['02:30', 'Europe/Berlin', '2026-03-28T21:00:00Z', '2026-03-29T01:00:00.000Z'],
  // 2026-10-25 01:00 UTC they go back from 03:00 to 02:00: 02:30 is shown twice, and the first counts.
  ['02:30', 'Europe/Berlin', '2026-10-24T21:00:00Z', '2026-10-25T00:30:00.000Z'],
  ['06:00', 'Europe/Berlin', '2026-10-24T21:00:00Z', '2026-10-25T05:00:00.000Z'],
  ['00:00', 'America/New_York', '2026-07-01T03:59:30Z', '2026-07-01T04:00:00.000Z'],
  // UTC+5:45.
  ['6:00', 'Asia/Kathmandu', '2026-05-01T00:00:00Z', '2026-05-01T00:15:00.000Z'],
])('%s in %s after %s is %s', (hour, zone, now, expected) => {
  expect(next(hour, zone, now)).toBe(expected);
});

test.each(['24:00', '6', '06:60', '06:00:00', 'six', '-1:00', ''])('%j is no hour', (text) => {
  expect(hourOf(text)).toBeNull();
});

describe('at which hour a roll is due', () => {
  const settings = settingsSchema.parse({
    version: 1,
    show: { time_zone: 'Europe/Berlin', ready_by: '07:00' },
    rolls: { B001: { ready_by: '05:00' } },
  });
  const now = at('2026-11-30T21:00:00Z');
  const rolls = ['A001', 'B001', 'C=1'];
  const of = (by: readonly string[]): string[] => {
    const dues = duesOf({ by, settings, rolls, now });
    return rolls.map((roll) => new Date(dues.of(roll) ?? 0).toISOString().slice(11, 16));
  };

  test('the roll counts before the show, the command before both, a roll of the command before all', () => {
    expect(of([])).toEqual(['06:00', '04:00', '06:00']);
    expect(of(['06:00'])).toEqual(['05:00', '05:00', '05:00']);
    expect(of(['06:00', 'A001=03:00', 'C=1=02:00'])).toEqual(['02:00', '05:00', '01:00']);
  });

  test('none is due at no hour', () => {
    const dues = duesOf({ by: [], settings: {}, rolls, now });
    expect(dues.of('A001')).toBeNull();
    expect(dues.timeZone).not.toBe('');
  });

  test.each([['25:00'], ['A001='], ['A001=6'], ['X009=06:00']])('%s is refused', (text) => {
    expect(() => duesOf({ by: [text], settings, rolls, now })).toThrow(FindingError);
  });

  test('settings refuse an hour that is none', () => {
    const read = settingsSchema.safeParse({ version: 1, show: { ready_by: '6 am' } });
    expect(read.success).toBe(false);
  });

  test('rolls that are due earlier are read first; of those that are due alike the day says', () => {
    const dues = duesOf({ by: ['C=1=02:00'], settings, rolls, now });
    const day = rolls.map((name) => ({ name }));
    expect(byDue(day, [], dues).map(({ name }) => name)).toEqual(['C=1', 'B001', 'A001']);
    expect(byDue(day, ['A001'], dues).map(({ name }) => name)).toEqual(['A001', 'C=1', 'B001']);
  });
});

describe('what is in time', () => {
  const now = at('2026-11-30T21:00:00Z');
  const due = at('2026-11-30T22:00:00Z');
  const range = (least: number, most: number) => ({ least: least * 60, most: most * 60 });

  test.each([
    [range(30, 60), 'in-time'],
    [range(30, 61), 'at-risk'],
    [range(60, 90), 'at-risk'],
    [range(61, 90), 'late'],
  ])('%j of an hour', (ready, expected) => {
    expect(inTime(ready, due, now)).toBe(expected);
  });

  test('of what is not known, or due at no hour, nothing is said', () => {
    expect(inTime(null, due, now)).toBeNull();
    expect(inTime(range(1, 2), null, now)).toBeNull();
  });

  test('a late roll is a note with both hours, and a word in the line', () => {
    const forecast = {
      timeZone: 'Europe/Berlin',
      others: 0,
      whole: range(61, 95),
      proxies: null,
      rolls: [
        {
          roll: 'A001',
          left: range(61, 95),
          unknown: 0,
          nobody: 0,
          due: new Date(due).toISOString(),
          inTime: 'late' as const,
        },
        { roll: 'B001', left: range(3, 4), unknown: 0, nobody: 0, due: null, inTime: null },
        { roll: 'C001', left: null, unknown: 3, nobody: 0, due: null, inTime: null },
      ],
    };
    const [note, ...others] = lateNotes(forecast, now);
    expect(others).toEqual([]);
    expect(note).toMatchObject({ code: 'roll-late', roll: 'A001', expected: 'ready by Mon 23:00' });
    expect(note?.found).toContain('Mon 23:01 to 23:35 Europe/Berlin');
    expect(forecastLine(forecast, now)).toBe(
      'all ready Mon 23:01 to 23:35 Europe/Berlin, in 1 h 01 min to 1 h 35 min; late: A001',
    );
    expect(forecastLine({ ...forecast, others: 2 }, now)).toContain(
      'the farm is shared with 2 other runs: sooner when one ends; late: A001',
    );
    const text = forecastText({
      ...forecast,
      whole: null,
      from: new Date(now).toISOString(),
      unknownKinds: ['vc3 9x9 to x'],
    });
    expect(text).toContain('A001      Mon 23:01 to 23:35, in 1 h 01 min to 1 h 35 min; due Mon 23:00, late');
    expect(text).toContain('B001      Mon 22:03 to 22:04, in 3 min to 4 min');
    expect(text).toContain('C001      not known yet: 3 jobs of a kind of which fewer than five are made');
    expect(text).toContain('Not known yet: how long vc3 9x9 to x takes.');
  });
});

test('ranges are no finer than anybody knows', () => {
  expect(rangeText({ least: 12.2, most: 47.1 })).toBe('12 s to 48 s');
  expect(rangeText({ least: 59, most: 61 })).toBe('59 s to 2 min');
  expect(rangeText({ least: 3540, most: 3599 })).toBe('59 min to 1 h 00 min');
  expect(rangeText({ least: 7200, most: 7200 })).toBe('2 h 00 min');
  const now = at('2026-11-30T22:50:00Z');
  expect(hoursText({ least: 60, most: 900 }, now, 'Europe/Berlin')).toBe('Mon 23:51 to Tue 00:05');
  expect(hoursText({ least: 1, most: 2 }, now, 'Europe/Berlin')).toBe('Mon 23:50');
});
