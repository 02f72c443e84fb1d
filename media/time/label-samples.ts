/** Time of day in samples against the label of a frame. Exact until the last step. */
import { type Rate, roundedDivision, safeNumber, timecodeBase } from './rate.ts';
import { framesPerDay, type Timecode } from './timecode.ts';

/**
 * How many samples behind the frame of a label (before it: negative) lies the sample that was recorded so many samples since midnight; to the nearest sample,
 * across midnight where that is nearer. A frame of the label lasts as long as the rate says: at 24000/1001 its hour is 3603.6 s of the clock, which is how
 * recorders count samples beside such a camera (common practice, no source).
 */
export function samplesFromLabel(since: bigint, sampleRate: number, label: Timecode, rate: Rate): number {
  // Labels may count in pairs or more of frames: 25 a second at a rate of 50.
  const top = BigInt(rate.den) * BigInt(timecodeBase(rate)) * BigInt(sampleRate);
  const bottom = BigInt(rate.num) * BigInt(label.base);
  const day = BigInt(framesPerDay(label.base, label.drop)) * top;
  const away = since * bottom - BigInt(label.frame) * top;
  const nearest = [away, away - day, away + day].reduce((best, one) => (size(one) < size(best) ? one : best));
  return safeNumber(roundedDivision(nearest, bottom));
}

const size = (value: bigint): bigint => (value < 0n ? -value : value);
