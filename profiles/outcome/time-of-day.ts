/** The time of day at which a clip without timecode began, by the file's own clock. Pure. */
import type { ClipFacts } from '../../media/facts.ts';
import { type Rate, timecodeBase } from '../../media/time/rate.ts';
import type { Timecode } from '../../media/time/timecode.ts';
import { offsetText, shownIn } from '../../media/time/zone.ts';

/** Of the first frame, on the clocks of the place. */
export interface TimeOfDay {
  readonly hours: number;
  readonly minutes: number;
  readonly seconds: number;
  /** Digits behind the point; empty: whole seconds. */
  readonly fraction: string;
}

export type Clock =
  | {
      readonly time: TimeOfDay;
      /** Field of the file and its value. */
      readonly field: string;
      /** In words, with the zone. */
      readonly said: string;
    }
  | { readonly why: string };

/** `ahead`: seconds that it is before UTC; null: it does not say. */
interface Stamp {
  readonly date: string;
  readonly time: TimeOfDay;
  readonly ahead: number | null;
}

const STAMP = /^(\d{4})[-:](\d\d)[-:](\d\d)[T ](\d\d):(\d\d):(\d\d)(?:\.(\d{1,9}))?(Z|[+-]\d\d:?\d\d)?$/;

function stampOf(text: string): Stamp | null {
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
  return { date, time: { hours, minutes, seconds, fraction: parts[7] ?? '' }, ahead };
}

/**
 * QuickTime counts from 1904, Unix from 1970: a file whose clock was never set says one of those days, or a day of the year 0. A clock that lost its
 * battery starts in the years of its maker; that cannot be known here.
 */
const EPOCHS: ReadonlySet<string> = new Set(['1904-01-01', '1970-01-01', '1969-12-31', '1903-12-31']);
const wasSet = ({ date }: Stamp): boolean => !EPOCHS.has(date) && !date.startsWith('0000');

interface Said {
  readonly name: string;
  readonly value: string;
  /** Whether a value without a zone of its own is of the place. */
  readonly local: boolean;
}

/**
 * What a file says of when it began, the most trusted first. `com.apple.quicktime.creationdate` has its zone. `creation_time` is of the container and in
 * UTC (ISO/IEC 14496-12, 8.2.2.3): ffprobe says so by a Z. Dates of stills are local (EXIF, DateTimeOriginal) unless their offset is stated.
 */
function saidIn(facts: Pick<ClipFacts, 'kind' | 'metadata' | 'stated' | 'raw'>): Said[] {
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

/** In the time zone of the show where the file says its own zone, else as its clock showed it. */
export function clockOf(facts: Pick<ClipFacts, 'kind' | 'metadata' | 'stated' | 'raw' | 'timing'>): Clock {
  const said = saidIn(facts);
  const show = facts.timing?.timeZone ?? null;
  const reasons: string[] = [];
  for (const { name, value, local } of said) {
    const stamp = stampOf(value);
    const field = `${name} ${value}`;
    if (stamp === null || !wasSet(stamp)) {
      reasons.push(`${field} is no time`);
      continue;
    }
    const own = stamp.ahead;
    if (own === null && !local) {
      reasons.push(`${field} does not say its time zone`);
      continue;
    }
    // A time in UTC is that of no place.
    if (show === null && own === 0) {
      reasons.push(`${field} is in UTC, and the settings state no time zone of the show`);
      continue;
    }
    if (own === null)
      return { time: stamp.time, field, said: `${timeText(stamp.time)} of ${name}, local time` };
    if (show === null)
      return {
        time: stamp.time,
        field,
        said: `${timeText(stamp.time)} of ${name}, at ${offsetText(own)} as it says`,
      };
    const { hours, minutes, seconds } = stamp.time;
    const shown = shownIn(`${stamp.date}T00:00:00Z`, 3600 * hours + 60 * minutes + seconds - own, show);
    const time = { ...shown, fraction: stamp.time.fraction };
    return { time, field, said: `${timeText(time)} of ${name} (${value}), in ${show}` };
  }
  return { why: reasons.length === 0 ? 'the file says no time of day' : reasons.join(', ') };
}

const two = (value: number): string => String(value).padStart(2, '0');
const timeText = ({ hours, minutes, seconds, fraction }: TimeOfDay): string =>
  `${two(hours)}:${two(minutes)}:${two(seconds)}${/[1-9]/.test(fraction) ? `.${fraction}` : ''}`;

/** Hours, minutes and seconds as the clock showed them, and of the second what had gone by in whole frames, rounded down. Non-drop at every rate. */
export function timecodeOfClock({ hours, minutes, seconds, fraction }: TimeOfDay, rate: Rate): Timecode {
  const base = timecodeBase(rate);
  const part = (BigInt(fraction === '' ? '0' : fraction) * BigInt(base)) / 10n ** BigInt(fraction.length);
  return { frame: ((60 * hours + minutes) * 60 + seconds) * base + Number(part), base, drop: false };
}
