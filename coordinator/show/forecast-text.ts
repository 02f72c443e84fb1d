/** When things will be ready, for people: always a range, in the time of the show. Pure. */
import type { NightForecast } from '../progress/forecast.ts';
import { type Finding, finding } from '../../findings/finding.ts';
import { printable } from '../../files/names.ts';
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

/** Why it is not known; null: for none of these reasons. */
function whyText({ unknown, nobody }: { readonly unknown: number; readonly nobody: number }): string | null {
  const reasons = [
    ...(nobody === 0 ? [] : [`no machine of the farm can take ${count(nobody, 'job')}`]),
    ...(unknown === 0 ? [] : [`${count(unknown, 'job')} of a kind of which fewer than five are made`]),
  ];
  return reasons.length === 0 ? null : reasons.join(', ');
}

/** Of the night as a whole, and of what will not be in time. `now`: milliseconds since 1970, UTC. */
export function forecastLine(
  { whole, proxies, rolls, timeZone, others }: NightForecast,
  now: number,
): string {
  const late = rolls.filter(({ inTime }) => inTime === 'late').map(({ roll }) => roll);
  const risk = rolls.filter(({ inTime }) => inTime === 'at-risk').map(({ roll }) => roll);
  const unknown = rolls.reduce((sum, one) => sum + one.unknown, 0);
  const nobody = rolls.reduce((sum, one) => sum + one.nobody, 0);
  const why = whyText({ unknown, nobody }) ?? 'rolls are still read';
  return [
    ...(proxies === null
      ? []
      : [`all proxies made ${hoursText(proxies, now, timeZone)} ${timeZone}, in ${rangeText(proxies)}`]),
    whole === null
      ? `when all is ready is not known yet: ${why}`
      : `all ready ${hoursText(whole, now, timeZone)} ${timeZone}, in ${rangeText(whole)}`,
    ...(others === 0 ? [] : [`the farm is shared with ${count(others, 'other run')}: sooner when one ends`]),
    ...(late.length === 0 ? [] : [`late: ${late.join(', ')}`]),
    ...(risk.length === 0 ? [] : [`may be late: ${risk.join(', ')}`]),
  ].join('; ');
}

const IN_TIME = { 'in-time': 'in time', 'at-risk': 'may be late', late: 'late' } as const;

export interface PlannedReady extends NightForecast {
  /** When the run would begin, ISO 8601, UTC. */
  readonly from: string;
  /** What is to be made of kinds of which too few jobs are finished. */
  readonly unknownKinds: readonly string[];
}

const readyText = (
  { left, ...why }: Pick<NightForecast['rolls'][number], 'left' | 'unknown' | 'nobody'>,
  now: number,
  timeZone: string,
): string =>
  left === null
    ? ['not known yet', whyText(why) ?? []].flat().join(': ')
    : `${hoursText(left, now, timeZone)}, in ${rangeText(left)}`;

/** When a roll will be ready, and whether that is in time. */
export function rollReadyText(roll: NightForecast['rolls'][number], now: number, timeZone: string): string {
  const due =
    roll.due === null
      ? ''
      : `; due ${hourText(Date.parse(roll.due), timeZone)}${roll.inTime === null ? '' : `, ${IN_TIME[roll.inTime]}`}`;
  return `${printable(roll.roll).padEnd(8)}  ${readyText(roll, now, timeZone)}${due}`;
}

/** Of a plan: a line for each roll that has work. */
export function forecastText({ rolls, whole, proxies, timeZone, from, unknownKinds }: PlannedReady): string {
  const now = Date.parse(from);
  return [
    `Ready, if the run begins now (${timeZone}):`,
    ...rolls.map((roll) => rollReadyText(roll, now, timeZone)),
    ...(proxies === null
      ? []
      : [`All proxies made ${readyText({ left: proxies, unknown: 0, nobody: 0 }, now, timeZone)}.`]),
    ...(rolls.length > 1 && whole !== null
      ? [`all       ${readyText({ left: whole, unknown: 0, nobody: 0 }, now, timeZone)}`]
      : []),
    ...unknownKinds.map((kind) => `Not known yet: how long ${printable(kind)} takes.`),
  ].join('\n');
}

/** Rolls that will not be ready by their hour. */
export function lateNotes({ rolls, timeZone }: NightForecast, now: number): Finding[] {
  return rolls.flatMap(({ roll, left, due, inTime }) =>
    inTime !== 'late' || left === null || due === null
      ? []
      : [
          finding(
            'roll-late',
            `ready ${hoursText(left, now, timeZone)} ${timeZone}, in nine nights of ten not sooner`,
            `ready by ${hourText(Date.parse(due), timeZone)}`,
            { roll },
          ),
        ],
  );
}
