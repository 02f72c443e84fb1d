/** Times of a timeline, exact: whole numbers over whole numbers, in seconds. Documents have doubles, which mean a rate in use and thousandths of a frame. Pure. */
import type { OtioRange, OtioTime } from '../otio/read.ts';
import { gcd, knownRateNear, type Rate, ratio } from '../../media/time/rate.ts';

/** `over` is positive. */
export interface Seconds {
  readonly top: bigint;
  readonly over: bigint;
}

export const ZERO: Seconds = { top: 0n, over: 1n };
/** In lowest terms where denominators differ: those of a long track would grow with every clip. */
export function plus(a: Seconds, b: Seconds): Seconds {
  if (a.over === b.over) return { top: a.top + b.top, over: a.over };
  const [top, over] = [a.top * b.over + b.top * a.over, a.over * b.over];
  const common = gcd(top, over);
  return { top: top / common, over: over / common };
}
export const minus = (a: Seconds, b: Seconds): Seconds => plus(a, { top: -b.top, over: b.over });
export const isBefore = (a: Seconds, b: Seconds): boolean => a.top * b.over < b.top * a.over;
export const earlier = (a: Seconds, b: Seconds): Seconds => (isBefore(b, a) ? b : a);
export const later = (a: Seconds, b: Seconds): Seconds => (isBefore(a, b) ? b : a);

/** Thousandths: what a frame of a double is read to, and a factor of speed to a millionth. */
const PARTS = 1000;
const FACTOR_PARTS = 1_000_000;

/** Throws RangeError for what is no rate. */
export const rateOf = (rate: number): Rate => knownRateNear(rate) ?? ratio(Math.round(rate * PARTS), PARTS);

/** Throws RangeError for a value beyond what can be counted. */
export function secondsOf({ value, rate }: OtioTime): Seconds {
  const parts = Math.round(value * PARTS);
  if (!Number.isSafeInteger(parts)) throw new RangeError(`a time of ${value}`);
  const { num, den } = rateOf(rate);
  return { top: BigInt(parts) * BigInt(den), over: BigInt(PARTS) * BigInt(num) };
}

export function times(time: Seconds, factor: number): Seconds {
  return {
    top: time.top * BigInt(Math.round(factor * FACTOR_PARTS)),
    over: time.over * BigInt(FACTOR_PARTS),
  };
}

/** From the first to behind the last frame that a stretch of time touches. */
export function framesIn(from: Seconds, to: Seconds, rate: Rate): { start: number; frames: number } {
  const count = ({ top, over }: Seconds, up: boolean): number => {
    const [a, b] = [top * BigInt(rate.num), over * BigInt(rate.den)];
    const down = a / b - (a < 0n && a % b !== 0n ? 1n : 0n);
    return Number(up && down * b !== a ? down + 1n : down);
  };
  const start = count(from, false);
  return { start, frames: count(to, true) - start };
}

export const startOf = (range: OtioRange): Seconds => secondsOf(range.start_time);
export const lengthOf = (range: OtioRange): Seconds => secondsOf(range.duration);
