/**
 * What follows for a deliverable's time from the clip itself: rate, length, start label, samples of audio. Reckoned here from the facts of the clip and the
 * words of the outcome's policy, apart from `media/time` and from whoever decided: labels are counted minute by minute, ratios multiplied crosswise.
 */
import type { ClipFacts } from '../media/facts.ts';
import { isKnownRate } from '../media/time/rate.ts';
import type { Cadence } from '../profiles/cadence.ts';
import { shownAt } from './grid.ts';

interface Ratio {
  readonly num: number;
  readonly den: number;
}
interface Count {
  readonly frame: number;
  readonly base: number;
  readonly drop: boolean;
}

const two = (value: number): string => String(value).padStart(2, '0');

interface Digits {
  /** HH:MM:SS */
  readonly clock: string;
  readonly field: number;
}

/** SMPTE ST 12-1: of each 30 labels of a minute's first second two are left out, but not in minutes 0, 10, 20, 30, 40 and 50. */
function digitsOf({ frame, base, drop }: Count): Digits {
  const left = drop ? 2 * (base / 30) : 0;
  let minute = 0;
  let rest = frame;
  const shortens = (): boolean => minute % 10 !== 0;
  const length = (): number => 60 * base - (shortens() ? left : 0);
  while (rest >= length()) {
    rest -= length();
    minute = minute === 1439 ? 0 : minute + 1;
  }
  if (shortens()) rest += left;
  const seconds = (rest - (rest % base)) / base;
  return {
    clock: `${two((minute - (minute % 60)) / 60)}:${two(minute % 60)}:${two(seconds)}`,
    field: rest % base,
  };
}

const textOf = ({ clock, field }: Digits, drop: boolean): string =>
  `${clock}${drop ? ';' : ':'}${two(field)}`;

/** The label that so many frames further has; the day rolls over. Counted back from the label itself, minute by minute. */
export function labelLater(label: string, rate: Ratio, frames: number): string {
  const base = baseOf(rate);
  const drop = label.includes(';');
  const [hours, minutes, seconds, field] = label.split(/[:;]/).map(Number) as [
    number,
    number,
    number,
    number,
  ];
  const left = drop ? 2 * (base / 30) : 0;
  let frame = seconds * base + field;
  for (let minute = 0; minute < 60 * hours + minutes; minute += 1)
    frame += 60 * base - (minute % 10 === 0 ? 0 : left);
  // The first labels of such a minute are not there.
  if (minutes % 10 !== 0) frame -= left;
  return labelText({ frame: frame + frames, base, drop });
}

/** As people write it. */
export const labelText = (count: Count): string => textOf(digitsOf(count), count.drop);

const baseOf = ({ num, den }: Ratio): number => Math.round(num / den);
const drops = ({ num, den }: Ratio): boolean => den === 1001 && [30, 60, 120].includes(baseOf({ num, den }));

/** `name value`, whose value has a time of day, perhaps a fraction and a zone. */
const STAMP = /(\d{4})[-:](\d\d)[-:](\d\d)[T ](\d\d:\d\d:\d\d)(?:\.(\d+))?(Z|[+-]\d\d:?\d\d)?$/;

function clockOf(field: string, timeZone: string | undefined, base: number): Digits | null {
  const [, year, month, day, clock, fraction = '', zone] = STAMP.exec(field) ?? [];
  if (clock === undefined) return null;
  const part =
    fraction === ''
      ? 0
      : Number((BigInt(fraction) * BigInt(base)) / BigInt(`1${'0'.repeat(fraction.length)}`));
  if (zone === undefined || timeZone === undefined) return { clock, field: part };
  const offset = zone === 'Z' ? zone : zone.replace(/^(...):?/, '$1:');
  const moment = new Date(`${year}-${month}-${day}T${clock}${offset}`);
  return { clock: moment.toLocaleTimeString('en-GB', { timeZone, hourCycle: 'h23' }), field: part };
}

/**
 * The label of the first frame, by the clip; null: nobody can say. `rate`: as the deliverable has it.
 * A label of the clip is carried over second by second, and the frame is what had gone by of the second: that also turns a count of pairs into one of frames.
 */
export function startByClip(
  { timecode, timing }: Pick<ClipFacts, 'timecode' | 'timing'>,
  { timecodeFrom, timecodeField }: Pick<Cadence, 'timecodeFrom' | 'timecodeField'>,
  rate: Ratio,
): string | null {
  const base = baseOf(rate);
  if (timecode !== null) {
    const { clock, field } = digitsOf(timecode);
    return textOf({ clock, field: Math.floor((field * base) / timecode.base) }, timecode.drop && drops(rate));
  }
  if (timing?.timecode !== undefined) return timing.timecode;
  if (timecodeFrom === 'zero') return '00:00:00:00';
  const shown =
    timecodeFrom !== 'time-of-day' || timecodeField === null
      ? null
      : clockOf(timecodeField, timing?.timeZone, base);
  return shown === null ? null : textOf(shown, false);
}

/** Frames that a frame of the clip becomes: two, where each of its fields is one. */
export const framesOfEach = ({ split }: Pick<Cadence, 'split'>): 1 | 2 => (split === null ? 1 : 2);

/** By the clip, frames a second that are recorded: of split fields twice those that its frames are counted in. */
export const recordedRate = (
  { video }: { readonly video: Pick<ClipFacts['video'], 'rate'> },
  cadence: Pick<Cadence, 'split'>,
): Ratio => ({ num: framesOfEach(cadence) * video.rate.num, den: video.rate.den });

/** The rate that a deliverable must have: that of the clip, or where its frames are played at another, that of the project. */
export function rateByClip(
  { video, timing }: Pick<ClipFacts, 'video' | 'timing'>,
  { offSpeed, constant, split }: Pick<Cadence, 'offSpeed' | 'constant' | 'split'>,
): Ratio | null {
  if (constant !== null && isKnownRate(video.rate)) return video.rate;
  return offSpeed === null && constant === null
    ? recordedRate({ video }, { split })
    : (timing?.projectRate ?? null);
}

export const sameRate = (a: Ratio, b: Ratio): boolean =>
  BigInt(a.num) * BigInt(b.den) === BigInt(b.num) * BigInt(a.den);

/** Whether so many seconds (ticks of `timeBase`) are the length of the clip, times the factor of the outcome, to half a tick. */
export function lastsAsLong(
  { video }: Pick<ClipFacts, 'video'>,
  { offSpeed, constant }: Pick<Cadence, 'offSpeed' | 'constant'>,
  { ticks, timeBase, rate }: { readonly ticks: number; readonly timeBase: Ratio; readonly rate: Ratio },
): boolean {
  if (constant !== null) {
    // To the end of the last instant: as long as the clip, or less than a frame longer.
    const own = BigInt(video.endTime - video.firstTime) * BigInt(video.timeBase.num) * BigInt(timeBase.den);
    const found = BigInt(ticks) * BigInt(timeBase.num) * BigInt(video.timeBase.den);
    const frame = BigInt(rate.den) * BigInt(timeBase.den) * BigInt(video.timeBase.den);
    const more = (found - own) * BigInt(rate.num);
    return more >= 0n && more < frame;
  }
  const { num, den } = offSpeed?.slower ?? { num: 1, den: 1 };
  // frames · rate.den · num / (rate.num · den) against ticks · tb.num / tb.den, all times the denominators.
  const bottom = BigInt(video.rate.num) * BigInt(den);
  const wanted = BigInt(video.frames) * BigInt(video.rate.den) * BigInt(num) * BigInt(timeBase.den);
  const found = BigInt(ticks) * BigInt(timeBase.num) * bottom;
  const away = wanted > found ? wanted - found : found - wanted;
  return 2n * away <= BigInt(timeBase.num) * bottom;
}

/** Samples of audio that was heard while the clip's picture was recorded. */
export function samplesByClip(
  { video }: Pick<ClipFacts, 'video'>,
  { constant }: Pick<Cadence, 'constant'>,
  sampleRate: number,
  played: Ratio,
): number {
  const [frames, rate] =
    constant === null ? [video.frames, video.rate] : [shownAt(video, played)?.length ?? 0, played];
  return Number((BigInt(frames) * BigInt(sampleRate) * BigInt(rate.den)) / BigInt(rate.num));
}
