/** On which day a clip was recorded, as people where it was shot count days, and who says so. */
import { localDate } from '../../media/time/zone.ts';
import { type ClockFacts, saidIn, type Stamp, stampOf } from './source-clock.ts';

export interface RecordedDate {
  /** `2031-03-04`; in UTC where no zone is known: `2031-03-04 UTC`. */
  readonly text: string;
  readonly from: string;
}

/**
 * null: nobody says it. `timeZone`: of the show, by its IANA name; null: not stated, and a time with an offset keeps the date of that offset. A time
 * without an offset is taken for that of the place.
 */
export function recordedDate(facts: ClockFacts, timeZone: string | null): RecordedDate | null {
  for (const { name, value } of saidIn(facts)) {
    const stamp = stampOf(value);
    if (stamp === null) continue;
    if (stamp.ahead === null || timeZone === null)
      return { text: stamp.ahead === 0 ? `${stamp.date} UTC` : stamp.date, from: name };
    return { text: localDate(momentOf(stamp, stamp.ahead), timeZone), from: `${name}, in ${timeZone}` };
  }
  return null;
}

/** Milliseconds since 1970, UTC. */
function momentOf({ date, time: { hours, minutes, seconds } }: Stamp, ahead: number): number {
  return Date.parse(`${date}T00:00:00Z`) + 1000 * (3600 * hours + 60 * minutes + seconds - ahead);
}
