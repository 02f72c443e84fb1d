/** At which hours rolls are due, as moments. Pure. */

/** Hours and minutes of the day. */
export interface Hour {
  readonly hours: number;
  readonly minutes: number;
}

const FORM = /^([01]?\d|2[0-3]):([0-5]\d)$/;

/** `06:00`; null: no hour. */
export function hourOf(text: string): Hour | null {
  const [, hours, minutes] = FORM.exec(text.trim()) ?? [];
  return hours === undefined || minutes === undefined
    ? null
    : { hours: Number(hours), minutes: Number(minutes) };
}

export const hourText = ({ hours, minutes }: Hour): string =>
  `${String(hours).padStart(2, '0')}:${String(minutes).padStart(2, '0')}`;

const MINUTE = 60_000;
const DAY_MINUTES = 24 * 60;

/** Minute of the day that the zone's clocks show. */
function minuteShown(format: Intl.DateTimeFormat, moment: number): number {
  const parts = format.formatToParts(moment);
  const of = (type: Intl.DateTimeFormatPartTypes): number =>
    Number(parts.find((part) => part.type === type)?.value);
  return of('hour') * 60 + of('minute');
}

/**
 * The next moment after `now` (milliseconds since 1970, UTC) at which the clocks of the zone show the hour; where they leave it out
 * as summer time begins, the moment at which they pass it. `timeZone`: null: the zone of this machine.
 */
export function nextMoment({ hours, minutes }: Hour, timeZone: string | null, now: number): number {
  const format = new Intl.DateTimeFormat('en-GB', {
    ...(timeZone === null ? {} : { timeZone }),
    ...({ hourCycle: 'h23', hour: 'numeric', minute: 'numeric' } as const),
  });
  const wanted = hours * 60 + minutes;
  let moment = Math.floor(now / MINUTE) * MINUTE;
  let before = minuteShown(format, moment);
  // Two days hold every hour once, whatever clocks do.
  for (let step = 0; step < 2 * DAY_MINUTES; step += 1) {
    moment += MINUTE;
    const shown = minuteShown(format, moment);
    // How far the clocks went on in this minute: one, an hour more as summer time begins, and back as it ends.
    const forward = (shown - before + DAY_MINUTES) % DAY_MINUTES;
    const toWanted = (wanted - before + DAY_MINUTES) % DAY_MINUTES;
    if (forward <= DAY_MINUTES / 2 && toWanted > 0 && toWanted <= forward) return moment;
    before = shown;
  }
  throw new RangeError(`no ${hours}:${minutes} within two days in ${timeZone}`);
}
