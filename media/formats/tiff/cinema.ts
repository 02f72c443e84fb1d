/** Rate and time code of one frame, in the tags that CinemaDNG has for them; other TIFF files may carry them too. */
import { type Rate, parseRate, ratio } from '../../time/rate.ts';
import { StillDamage, type StoredTimecode, storedTimecode } from '../still.ts';
import type { TiffDirectory } from './header.ts';
import { TAG } from './tags.ts';

/** FrameRate. A decimal such as 23976/1000 is the rounding of the rate that is meant. Throws StillDamage for a decimal near no rate. */
export async function readFrameRate(places: readonly TiffDirectory[]): Promise<Rate | null> {
  const [num, den] = (
    await places.find((directory) => directory.has(TAG.FrameRate))?.pairs(TAG.FrameRate)
  )?.[0] ?? [0, 0];
  if (!(num > 0 && den > 0)) return null;
  const places10 = /^10*$/.test(String(den)) ? String(den).length - 1 : 0;
  if (places10 < 1) return ratio(num, den);
  const digits = String(num).padStart(places10 + 1, '0');
  try {
    return parseRate(`${digits.slice(0, -places10)}.${digits.slice(-places10)}`);
  } catch (error) {
    if (!(error instanceof RangeError)) throw error;
    throw new StillDamage(`FrameRate ${num}/${den}: ${error.message}`);
  }
}

/** The first of the TimeCodes: eight bytes, BCD frames, seconds, minutes, hours first (layout of SMPTE ST 331, 8.2). */
export async function readTimeCode(first: TiffDirectory): Promise<StoredTimecode | null> {
  const bytes = await first.bytes(TAG.TimeCodes);
  return bytes === null || bytes.length < 8
    ? null
    : storedTimecode(bytes[3] as number, bytes[2] as number, bytes[1] as number, bytes[0] as number);
}
