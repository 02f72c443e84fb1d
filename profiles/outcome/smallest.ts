/** How small burnt-in letters may be, so that a file of the codec can still be read for them: docs/mechanisms/burn-in.md. */
import type { Profile } from '../schema.ts';

/** Pixels an em: smaller letters cannot be read whatever the codec. */
const SMALLEST = 8;
/** Constant quality at which those can be read, of H.264 and H.265. */
const FINE = 21;
/** So many steps of the quantiser farther, twice as large: measured at 21, 28 and 35. */
const TWICE_AS_LARGE = 14;
/** Letters that the picture is seen through are fainter. */
const WATERMARK = 2.25;

/** Of text on a darkened ground. */
export function smallestLetters(video: Profile['video']): number {
  if (video.codec !== 'h264' && video.codec !== 'h265') return SMALLEST;
  return Math.max(SMALLEST, Math.ceil(SMALLEST * 2 ** ((video.quality - FINE) / TWICE_AS_LARGE)));
}

export const smallestWatermark = (video: Profile['video']): number =>
  Math.ceil(WATERMARK * smallestLetters(video));
