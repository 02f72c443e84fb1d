/** What a file says of when it began: of which a clip without timecode takes its time of day, and text in the picture its date. Pure. */
import type { ClipFacts } from '../../media/facts.ts';
import { offsetText } from '../../media/time/zone.ts';

/** On the clocks of the place. */
export interface TimeOfDay {
  readonly hours: number;
  readonly minutes: number;
  readonly seconds: number;
  /** Digits behind the point; empty: whole seconds. */
  readonly fraction: string;
}

/** `ahead`: seconds that it is before UTC; null: it does not say. */
export interface Stamp {
  readonly date: string;
  readonly time: TimeOfDay;
  readonly ahead: number | null;
}

const STAMP = /^(\d{4})[-:](\d\d)[-:](\d\d)[T ](\d\d):(\d\d):(\d\d)(?:\.(\d{1,9}))?(Z|[+-]\d\d:?\d\d)?$/;

/** null: it is no time, or that of a clock that was never set. */
export function stampOf(text: string): Stamp | null {
  const parts = STAMP.exec(text.trim());
  if (parts === null) return null;
  const [year, month, day, hours, minutes, seconds] = parts.slice(1, 7).map(Number) as [
    number,
    number,
    number,
    number,
    number,
    number,
  ];
  const date = `${parts[1]}-${parts[2]}-${parts[3]}`;
  const real = new Date(Date.UTC(year, month - 1, day));
  if (Number.isNaN(real.getTime()) || real.toISOString().slice(0, 10) !== date) return null;
  if (hours > 23 || minutes > 59 || seconds > 59) return null;
  const zone = /^([+-])(\d\d):?(\d\d)$/.exec(parts[8] ?? '');
  const ahead =
    parts[8] === undefined
      ? null
      : zone === null
        ? 0
        : (zone[1] === '-' ? -1 : 1) * (3600 * Number(zone[2]) + 60 * Number(zone[3]));
  const stamp = { date, time: { hours, minutes, seconds, fraction: parts[7] ?? '' }, ahead };
  return wasSet(stamp) ? stamp : null;
}

/**
 * QuickTime counts from 1904, Unix from 1970: a file whose clock was never set says one of those days, or a day of the year 0. A clock that lost its
 * battery starts in the years of its maker; that cannot be known here.
 */
const EPOCHS: ReadonlySet<string> = new Set(['1904-01-01', '1970-01-01', '1969-12-31', '1903-12-31']);
const wasSet = ({ date }: Stamp): boolean => !EPOCHS.has(date) && !date.startsWith('0000');

export type ClockFacts = Pick<ClipFacts, 'kind' | 'metadata' | 'stated' | 'raw'>;

export interface Said {
  readonly name: string;
  readonly value: string;
  /** Whether a value without a zone of its own is of the place. */
  readonly local: boolean;
}

/**
 * What a file says of when it began, the most trusted first. `com.apple.quicktime.creationdate` has its zone. `creation_time` is of the container and in
 * UTC (ISO/IEC 14496-12, 8.2.2.3): ffprobe says so by a Z. Dates of stills are local (EXIF, DateTimeOriginal) unless their offset is stated.
 */
export function saidIn(facts: ClockFacts): Said[] {
  if (facts.kind === 'movie')
    return ['com.apple.quicktime.creationdate', 'creation_time'].flatMap((name) => {
      const value = facts.metadata[name];
      return value === undefined ? [] : [{ name, value, local: false }];
    });
  const first = (name: string) => facts.stated?.attributes.find((one) => one.name === name);
  const date = first('capDate');
  // With the part of the second, which `stated` has no place for.
  const taken = facts.raw?.camera.capturedAt ?? null;
  if (taken !== null) return [{ name: date?.from ?? 'DateTimeOriginal', value: taken, local: true }];
  const [value] = date?.values ?? [];
  if (date === undefined || value?.frame !== 0 || typeof value.value !== 'string') return [];
  const offset = first('utcOffset')?.values[0];
  // OpenEXR says what is to be added for UTC.
  const ahead = offset?.frame === 0 && typeof offset.value === 'number' ? offsetText(-offset.value) : '';
  return [{ name: date.from, value: `${value.value}${ahead}`, local: true }];
}
