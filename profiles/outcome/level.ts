/** Levels: the least that holds a raster at a rate. Sources: ITU-T H.264, Table A-1 (MaxMBPS, MaxFS); ITU-T H.265, Tables A.8 and A.9. */
import type { Rate } from '../../media/time/rate.ts';

/** Of H.264: level times ten, macroblocks a second, macroblocks a frame. */
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

/** Of H.265: level times thirty, luma samples a frame (MaxLumaPs, Table A.8), luma samples a second (MaxLumaSr, Table A.9). */
const levelsOfH265 = [
  [60, 122_880, 3_686_400],
  [63, 245_760, 7_372_800],
  [90, 552_960, 16_588_800],
  [93, 983_040, 33_177_600],
  [120, 2_228_224, 66_846_720],
  [123, 2_228_224, 133_693_440],
  [150, 8_912_896, 267_386_880],
  [153, 8_912_896, 534_773_760],
  [156, 8_912_896, 1_069_547_520],
  [180, 35_651_584, 1_069_547_520],
  [183, 35_651_584, 2_139_095_040],
  [186, 35_651_584, 4_278_190_080],
] as const;
/** The encoder codes whole blocks of this side (H.265, 7.4.3.2.1: multiples of the least coding block). */
const LEAST_BLOCK = 8;

/** Thirty times the level of H.265; null when no level holds it. */
export function levelOfH265(width: number, height: number, rate: Rate): number | null {
  const [wide, high] = [width, height].map((side) => LEAST_BLOCK * Math.ceil(side / LEAST_BLOCK)) as [
    number,
    number,
  ];
  for (const [level, perFrame, perSecond] of levelsOfH265) {
    // Clause A.4.1: neither side beyond the square root of 8 * MaxLumaPs.
    const side = 8 * perFrame;
    if (
      wide * high <= perFrame &&
      wide * wide <= side &&
      high * high <= side &&
      BigInt(wide * high) * BigInt(rate.num) <= BigInt(perSecond) * BigInt(rate.den)
    )
      return level;
  }
  return null;
}
