/**
 * The clips of a day on the clock of their timecode, and which of them ran together. Seconds are exact fractions. Timecode is all that is asked: cameras
 * whose clocks were not set to each other, or whose timecode runs only while they record, tell nothing of it. Pure.
 */
import { timecodeBase } from '../media/time/rate.ts';
import type { DayClip } from './day.ts';
import { cutOf } from './counting.ts';

/** Seconds: num/den, den above 0. */
export interface Instant {
  readonly num: bigint;
  readonly den: bigint;
}

export const before = (a: Instant, b: Instant): boolean => a.num * b.den < b.num * a.den;
const order = (a: Instant, b: Instant): number => (before(a, b) ? -1 : before(b, a) ? 1 : 0);
export const minus = (a: Instant, b: Instant): Instant => ({
  num: a.num * b.den - b.num * a.den,
  den: a.den * b.den,
});
export const plus = (a: Instant, b: Instant): Instant => ({
  num: a.num * b.den + b.num * a.den,
  den: a.den * b.den,
});
const DAY: Instant = { num: 86_400n, den: 1n };

export interface PlacedClip {
  readonly clip: DayClip;
  /** By the labels; behind midnight above 24 hours. End exclusive. */
  readonly start: Instant;
  readonly end: Instant;
}

/** null: it has no timecode, or one that nobody's clock gave. */
function placeOf(clip: DayClip): PlacedClip | null {
  const { recorded } = clip;
  const cut = cutOf(clip);
  const start = recorded?.start ?? cut?.start ?? null;
  if (recorded === null || start === null || (cut !== null && cut.timecodeFrom === 'zero')) return null;
  const { rate } = recorded;
  const { start: before, frames } = clip.stretch ?? { start: 0, frames: recorded.frames };
  // Labels without drop-frame are read as they stand; those with it keep up with the clock (SMPTE ST 12-1).
  const labels = (count: number): Instant =>
    start.drop
      ? { num: BigInt(count) * 1001n, den: BigInt(start.base) * 1000n }
      : { num: BigInt(count), den: BigInt(start.base) };
  const lasting = (count: number): Instant =>
    start.base === timecodeBase(rate)
      ? labels(count)
      : { num: BigInt(count) * BigInt(rate.den), den: BigInt(rate.num) };
  const at = plus(labels(start.frame), lasting(before));
  return { clip, start: at, end: plus(at, lasting(frames)) };
}

export interface DayOrder {
  /** In the order of their timecode, from where the day began. */
  readonly placed: readonly PlacedClip[];
  /** Those without, by roll and name. */
  readonly unplaced: readonly DayClip[];
}

/** A day of shooting begins behind the longest time in which no clip began, and so runs over midnight where it has to. */
export function dayOrder(clips: readonly DayClip[]): DayOrder {
  const placed: PlacedClip[] = [];
  const unplaced: DayClip[] = [];
  for (const clip of clips) {
    const place = placeOf(clip);
    if (place === null) unplaced.push(clip);
    else placed.push(place);
  }
  const byStart = placed.sort((a, b) => order(a.start, b.start) || byName(a.clip, b.clip));
  let first = 0;
  let longest: Instant | null = null;
  for (const [at, { start }] of byStart.entries()) {
    const last = byStart[at - 1] ?? byStart.at(-1);
    if (last === undefined) break;
    const gap = minus(at === 0 ? plus(start, DAY) : start, last.start);
    if (longest === null || before(longest, gap)) [first, longest] = [at, gap];
  }
  const behind = byStart
    .slice(0, first)
    .map(({ clip, start, end }) => ({ clip, start: plus(start, DAY), end: plus(end, DAY) }));
  return { placed: [...byStart.slice(first), ...behind], unplaced: unplaced.sort(byName) };
}

const byName = (a: DayClip, b: DayClip): number => {
  const [one, other] = [`${a.roll}\0${a.name}`, `${b.roll}\0${b.name}`];
  return one < other ? -1 : one > other ? 1 : 0;
};

/** Camera of a clip: of the settings, else the letters of its roll, else the roll. */
export const cameraOfClip = ({ camera, cameraLetter, roll }: DayClip): string =>
  camera ?? cameraLetter ?? roll;

/** A clip that is played slower than it was recorded runs along with nothing. */
const playsAsRecorded = ({ clip }: PlacedClip): boolean => (cutOf(clip)?.cadence.offSpeed ?? null) === null;

/** Clips of two cameras or more, each of which overlaps with another one of them; in the order of the day. */
export function ranTogether({ placed }: Pick<DayOrder, 'placed'>): PlacedClip[][] {
  const groups: PlacedClip[][] = [];
  let end: Instant | null = null;
  for (const one of placed.filter(playsAsRecorded)) {
    const group = groups.at(-1);
    if (group !== undefined && end !== null && before(one.start, end)) {
      group.push(one);
      if (before(end, one.end)) end = one.end;
    } else {
      groups.push([one]);
      end = one.end;
    }
  }
  return groups.filter((group) => new Set(group.map(({ clip }) => cameraOfClip(clip))).size > 1);
}
