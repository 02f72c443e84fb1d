/**
 * Timecode as headers of OpenEXR and DPX store it: two words, the first as ImfTimeCode.h has it in its TV60 packing, which is the
 * stored one: binary-coded hours, minutes, seconds, frames from the top byte down, drop-frame in bit 6, field mark in bit 15.
 */
import { type Timecode, addFrames, formatTimecode } from '../time/timecode.ts';

export interface StoredTimecodeWords {
  readonly timeAndFlags: number;
  readonly userData: number;
}

const DROP = 1 << 6;
const FIELD = 1 << 15;
/** The frame field counts to 29 (ST 12-1). */
const MOST_FRAMES = 30;

/**
 * Null above base 60, for which ST 12-1 has no address. From base 31 on frames are counted in pairs, and the field mark is
 * set on the second of a pair (ST 12-1:2014, 12.1).
 */
export function packTimecode(timecode: Timecode): StoredTimecodeWords | null {
  if (timecode.base > 2 * MOST_FRAMES) return null;
  const [hours, minutes, seconds, frames] = formatTimecode(addFrames(timecode, 0))
    .split(/[:;]/)
    .map(Number) as [number, number, number, number];
  const paired = timecode.base > MOST_FRAMES;
  const coded = (value: number): number => (Math.floor(value / 10) << 4) | (value % 10);
  const word =
    ((coded(hours) << 24) |
      (coded(minutes) << 16) |
      (coded(seconds) << 8) |
      coded(paired ? frames >> 1 : frames)) >>>
    0;
  return {
    timeAndFlags: (word | (timecode.drop ? DROP : 0) | (paired && frames % 2 === 1 ? FIELD : 0)) >>> 0,
    userData: 0,
  };
}
