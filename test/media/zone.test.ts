/** Offsets of time zones: by the rules that the IANA Time Zone Database publishes (files europe, northamerica, asia, australasia), from memory. */
import { expect, test } from 'vitest';
import { aheadOfUtc, offsetText } from '../../media/time/zone.ts';

test.each<[string, string, number | null]>([
  ['2026:11:29 18:03:02', 'Europe/Berlin', 3600],
  ['2026-07-01T12:00:00', 'Europe/Berlin', 7200],
  ['2026:01:15 09:00:00', 'America/St_Johns', -12_600],
  ['2026:01:15 09:00:00', 'Asia/Kathmandu', 20_700],
  ['2026:01:15 09:00:00', 'Pacific/Kiritimati', 50_400],
  ['2026:01:15 09:00:00', 'UTC', 0],
  // Summer time begins on the last Sunday of March and ends on that of October, at 01:00 UTC.
  ['2026:03:29 01:59:59', 'Europe/Berlin', 3600],
  ['2026:03:29 02:30:00', 'Europe/Berlin', null],
  ['2026:03:29 03:00:00', 'Europe/Berlin', 7200],
  ['2026:10:25 01:59:59', 'Europe/Berlin', 7200],
  ['2026:10:25 02:30:00', 'Europe/Berlin', null],
  ['2026:10:25 03:00:00', 'Europe/Berlin', 3600],
  ['2026:02:30 03:00:00', 'Europe/Berlin', null],
  ['0000:00:00 00:00:00', 'Europe/Berlin', null],
  ['yesterday', 'Europe/Berlin', null],
])('%s in %s is %s seconds ahead of UTC', (local, zone, ahead) => {
  expect(aheadOfUtc(local, zone)).toBe(ahead);
});

test('an offset is written as ISO 8601 does', () => {
  expect([0, 3600, -12_600, 20_700].map(offsetText)).toEqual(['Z', '+01:00', '-03:30', '+05:45']);
});
