/** When things will be ready, for people: always a range, in the time of the show. Pure. */
import type { NightForecast } from '../progress/forecast.ts';
import { count } from './words.ts';

interface Range {
  readonly least: number;
  readonly most: number;
}

/** No finer than anybody can know: seconds below a minute, minutes below ten hours. */
function roughly(seconds: number, round: (value: number) => number): string {
  if (seconds < 60) return `${round(seconds)} s`;
  const minutes = round(seconds / 60);
  return minutes < 60
    ? `${minutes} min`
    : `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, '0')} min`;
}

/** `4 min to 6 min`. */
export function rangeText({ least, most }: Range): string {
  const [from, to] = [roughly(least, Math.floor), roughly(most, Math.ceil)];
  return from === to ? from : `${from} to ${to}`;
}

export const leftText = (range: Range): string => `${rangeText(range)} left`;

/** `Tue 06:00`. `moment`: milliseconds since 1970, UTC. */
export function hourText(moment: number, timeZone: string): string {
  const parts = new Intl.DateTimeFormat('en-GB', {
    timeZone,
    ...({ weekday: 'short', hour: '2-digit', minute: '2-digit', hourCycle: 'h23' } as const),
  }).formatToParts(moment);
  const of = (type: Intl.DateTimeFormatPartTypes): string =>
    parts.find((part) => part.type === type)?.value ?? '';
  return `${of('weekday')} ${of('hour')}:${of('minute')}`;
}

/** `Tue 02:10 to 02:35`: seconds from `now`. */
export function hoursText({ least, most }: Range, now: number, timeZone: string): string {
  const [from, to] = [hourText(now + 1000 * least, timeZone), hourText(now + 1000 * most, timeZone)];
  if (from === to) return from;
  return from.slice(0, 4) === to.slice(0, 4) ? `${from} to ${to.slice(4)}` : `${from} to ${to}`;
}

/** Of the night as a whole, and of what will not be in time. `now`: milliseconds since 1970, UTC. */
export function forecastLine({ whole, rolls, timeZone }: NightForecast, now: number): string {
  const late = rolls.filter(({ inTime }) => inTime === 'late').map(({ roll }) => roll);
  const risk = rolls.filter(({ inTime }) => inTime === 'at-risk').map(({ roll }) => roll);
  const unknown = rolls.reduce((sum, one) => sum + one.unknown, 0);
  const why =
    unknown === 0
      ? 'rolls are still read'
      : `${count(unknown, 'clip')} of a kind of which fewer than five are made`;
  return [
    whole === null
      ? `when all is ready is not known yet: ${why}`
      : `all is ready ${hoursText(whole, now, timeZone)} ${timeZone}, in ${rangeText(whole)}`,
    ...(late.length === 0 ? [] : [`late: ${late.join(', ')}`]),
    ...(risk.length === 0 ? [] : [`may be late: ${risk.join(', ')}`]),
  ].join('; ');
}
