/** Facts that follow from a clip being single frames at one rate, whoever reads them. */
import type { VideoFacts } from '../facts.ts';
import { type Rate, ratio } from '../time/rate.ts';

/** Times of frames that follow one another without a gap, from 0 on, in ticks of one frame. */
export function evenTimes(
  frames: number,
  rate: Rate,
): Pick<VideoFacts, 'frames' | 'rate' | 'timeBase' | 'firstTime' | 'endTime' | 'steps' | 'rateConstant'> {
  return {
    frames,
    rate,
    timeBase: ratio(rate.den, rate.num),
    firstTime: 0,
    endTime: frames,
    steps: frames > 1 ? [{ ticks: 1, count: frames - 1 }] : [],
    rateConstant: true,
  };
}

/** A frame is a file: `bytes` has one size a frame, and at least one. */
export function packetsOfFiles(
  bytes: readonly number[],
): Pick<VideoFacts, 'bytes' | 'smallestPacket' | 'largestPacket'> {
  return {
    bytes: bytes.reduce((sum, size) => sum + size, 0),
    smallestPacket: bytes.reduce((least, size) => Math.min(least, size)),
    largestPacket: bytes.reduce((most, size) => Math.max(most, size)),
  };
}
