/** Rates and other ratios as exact pairs of integers. No float ever decides a count, a boundary or an equality. */
import { z } from 'zod';

export const ratioSchema = z.object({ num: z.int().positive(), den: z.int().positive() });
/** A positive rational number in lowest terms. A rate is in frames (or samples) a second: 24000/1001. */
export type Ratio = z.infer<typeof ratioSchema>;
export type Rate = Ratio;

function gcd(a: bigint, b: bigint): bigint {
  return b === 0n ? a : gcd(b, a % b);
}

/** num/den in lowest terms. Throws RangeError unless both are positive safe integers after reduction. */
export function ratio(num: number | bigint, den: number | bigint = 1): Ratio {
  const top = BigInt(num);
  const bottom = BigInt(den);
  if (top <= 0n || bottom <= 0n) throw new RangeError(`not a positive ratio: ${num}/${den}`);
  const common = gcd(top, bottom);
  const reduced = { num: Number(top / common), den: Number(bottom / common) };
  if (!Number.isSafeInteger(reduced.num) || !Number.isSafeInteger(reduced.den)) {
    throw new RangeError(`ratio beyond 2^53: ${num}/${den}`);
  }
  return reduced;
}

export function sameRatio(a: Ratio, b: Ratio): boolean {
  return BigInt(a.num) * BigInt(b.den) === BigInt(b.num) * BigInt(a.den);
}

/** `24000/1001`, or `25` when whole. */
export function formatRatio(value: Ratio): string {
  return value.den === 1 ? String(value.num) : `${value.num}/${value.den}`;
}
