/** On which day a clip was recorded, as people where it was shot count days, and who says so. */
import type { ClipFacts } from '../../media/facts.ts';
import { valueAt } from '../../media/formats/stated.ts';
import { localDate } from '../../media/time/zone.ts';

/** A clock time of the source. */
interface Said {
  readonly time: string;
  /** Where the source says it. */
  readonly from: string;
}

export interface RecordedDate {
  /** `2031-03-04`; in UTC where no zone is known: `2031-03-04 UTC`. */
  readonly text: string;
  readonly from: string;
}

/** QuickTime File Format, "Metadata": with the offset of the place. */
const PLACED = 'com.apple.quicktime.creationdate';
/** ISO 8601, or as stills have it; with or without what the clock is ahead of UTC. */
const TIME = /^(\d{4})[:-](\d\d)[:-](\d\d)[T ](\d\d):(\d\d):(\d\d)(?:\.\d+)?(Z|[+-]\d\d:?\d\d)?$/;
/** Clocks that were never set begin in 1904 (ISO 14496-12, 8.2.2.3) or in 1970: such a time says nothing. */
const FIRST_YEAR = 1971;

/** In this order the first that is a time counts. */
function* saidBy({ createdAt, metadata, stated }: RecordedFacts): Generator<Said> {
  const placed = metadata[PLACED];
  if (placed !== undefined) yield { time: placed, from: PLACED };
  if (createdAt !== null) yield { time: createdAt, from: 'creation time of the file' };
  const ofFrames = (name: string) => stated?.attributes.find((one) => one.name === name);
  const date = ofFrames('capDate');
  const time = date === undefined ? null : valueAt(date, 0);
  if (date === undefined || typeof time !== 'string') return;
  const offset = ofFrames('utcOffset');
  const behind = offset === undefined ? null : valueAt(offset, 0);
  // OpenEXR: seconds that are to be added to local time for UTC.
  const zone = typeof behind === 'number' ? offsetOf(-behind) : '';
  yield { time: `${time.slice(0, 19)}${zone}`, from: `${date.from} of the first frame` };
}

function offsetOf(ahead: number): string {
  const minutes = Math.round(Math.abs(ahead) / 60);
  const two = (value: number): string => String(value).padStart(2, '0');
  return `${ahead < 0 ? '-' : '+'}${two(Math.floor(minutes / 60))}:${two(minutes % 60)}`;
}

export type RecordedFacts = Pick<ClipFacts, 'createdAt' | 'metadata' | 'stated'>;

/**
 * null: nobody says it. `timeZone`: of the show, by its IANA name; null: not stated, and a time with an offset keeps the date of that offset. A time
 * without an offset is taken for that of the place.
 */
export function recordedDate(facts: RecordedFacts, timeZone: string | null): RecordedDate | null {
  for (const { time, from } of saidBy(facts)) {
    const date = dateOf(time, timeZone);
    if (date === null) continue;
    const where = date.isMoved ? `, in ${timeZone}` : '';
    return { text: date.text, from: `${from}${where}` };
  }
  return null;
}

function dateOf(time: string, timeZone: string | null): { text: string; isMoved: boolean } | null {
  const [, ...parts] = TIME.exec(time) ?? [];
  const [year, month, day, hour, minute, second] = parts.slice(0, 6).map(Number) as number[];
  const offset = parts[6];
  if (year === undefined || year < FIRST_YEAR) return null;
  const clock = Date.UTC(year, (month as number) - 1, day, hour, minute, second);
  const written = `${parts[0]}-${parts[1]}-${parts[2]}`;
  const isTime =
    new Date(clock).toISOString().startsWith(written) &&
    (hour as number) < 24 &&
    (minute as number) < 60 &&
    (second as number) < 61;
  if (!isTime) return null;
  if (offset === undefined) return { text: written, isMoved: false };
  const [, side, hours, minutes] = /^([+-])(\d\d):?(\d\d)$/.exec(offset) ?? [];
  const ahead = side === undefined ? 0 : (side === '+' ? 1 : -1) * (60 * Number(hours) + Number(minutes));
  if (timeZone !== null) return { text: localDate(clock - 60_000 * ahead, timeZone), isMoved: true };
  return { text: offset === 'Z' ? `${written} UTC` : written, isMoved: false };
}
