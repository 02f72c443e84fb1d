/** What a local time is ahead of UTC in a time zone of the IANA Time Zone Database, as this system knows it. Pure. */

const LOCAL = /^(\d{4})[:-](\d\d)[:-](\d\d)[ T](\d\d):(\d\d):(\d\d)/;

/** What the zone's clocks show at a moment, in milliseconds as if it were UTC. */
function shownAt(moment: number, timeZone: string): number {
  const parts = new Intl.DateTimeFormat('en-GB', {
    timeZone,
    hourCycle: 'h23',
    calendar: 'gregory',
    ...({ year: 'numeric', month: 'numeric', day: 'numeric' } as const),
    ...({ hour: 'numeric', minute: 'numeric', second: 'numeric' } as const),
  }).formatToParts(moment);
  const of = (type: Intl.DateTimeFormatPartTypes): number =>
    Number(parts.find((part) => part.type === type)?.value);
  return Date.UTC(of('year'), of('month') - 1, of('day'), of('hour'), of('minute'), of('second'));
}

/** No zone is farther from UTC. */
const FARTHEST = 15 * 3600;
const STEP = 15 * 60;

/**
 * Seconds. `local`: YYYY:MM:DD hh:mm:ss, or as in ISO 8601. null: no such time; one that the clocks show twice, as summer time ends, or never,
 * as it begins; one of before 1970, when zones had offsets of odd seconds.
 */
export function aheadOfUtc(local: string, timeZone: string): number | null {
  const [, ...numbers] = LOCAL.exec(local) ?? [];
  if (numbers.length !== 6) return null;
  const [year, month, day, hour, minute, second] = numbers.map(Number) as [
    number,
    number,
    number,
    number,
    number,
    number,
  ];
  const shown = Date.UTC(year, month - 1, day, hour, minute, second);
  const isDate = new Date(shown).toISOString().startsWith(numbers.slice(0, 3).join('-'));
  if (year < 1970 || !isDate || hour > 23 || minute > 59 || second > 59) return null;
  // The offsets that the zone has around then: at most two.
  const near = new Set(
    [-FARTHEST, 0, FARTHEST].map((away) => {
      const moment = shown + 1000 * away;
      return (shownAt(moment, timeZone) - moment) / 1000;
    }),
  );
  const fitting = [...near].filter((ahead) => shownAt(shown - 1000 * ahead, timeZone) === shown);
  const [ahead] = fitting;
  return fitting.length === 1 && ahead !== undefined && ahead % STEP === 0 ? ahead : null;
}

/** As ISO 8601 writes it: +02:00, Z. */
export function offsetText(ahead: number): string {
  if (ahead === 0) return 'Z';
  const minutes = Math.abs(ahead) / 60;
  const two = (value: number): string => String(value).padStart(2, '0');
  return `${ahead < 0 ? '-' : '+'}${two(Math.floor(minutes / 60))}:${two(minutes % 60)}`;
}

/** What the clocks of a zone show `seconds` after a moment (ISO 8601, UTC). */
export function shownIn(
  moment: string,
  seconds: number,
  timeZone: string,
): { readonly hours: number; readonly minutes: number; readonly seconds: number } {
  const shown = new Date(shownAt(Date.parse(moment) + 1000 * seconds, timeZone));
  return { hours: shown.getUTCHours(), minutes: shown.getUTCMinutes(), seconds: shown.getUTCSeconds() };
}

/** The date there at a moment (milliseconds since 1970, UTC): 2031-03-04. */
export function localDate(moment: number, timeZone: string): string {
  return new Date(shownAt(moment, timeZone)).toISOString().slice(0, 10);
}
