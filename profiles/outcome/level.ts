/** H.264 levels: the least level that holds a raster at a rate. Source: ITU-T H.264, Table A-1 (MaxMBPS, MaxFS). */
import type { Rate } from '../../media/time/rate.ts';

/** Level times ten, macroblocks a second, macroblocks a frame. */
const levels = [
  [30, 40_500, 1_620],
  [31, 108_000, 3_600],
  [32, 216_000, 5_120],
  [40, 245_760, 8_192],
  [42, 522_240, 8_704],
  [50, 589_824, 22_080],
  [51, 983_040, 36_864],
  [52, 2_073_600, 36_864],
  [60, 4_177_920, 139_264],
  [61, 8_355_840, 139_264],
  [62, 16_711_680, 139_264],
] as const;

/** Ten times the level; null when no level holds it. */
export function levelFor(width: number, height: number, rate: Rate): number | null {
  const wide = Math.ceil(width / 16);
  const high = Math.ceil(height / 16);
  const blocks = wide * high;
  for (const [level, perSecond, perFrame] of levels) {
    // Clause A.3.1: neither side beyond the square root of 8 * MaxFS.
    const side = 8 * perFrame;
    if (
      blocks <= perFrame &&
      wide * wide <= side &&
      high * high <= side &&
      BigInt(blocks) * BigInt(rate.num) <= BigInt(perSecond) * BigInt(rate.den)
    )
      return level;
  }
  return null;
}
