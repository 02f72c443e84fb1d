/** Rates and other ratios as exact pairs of integers. No float ever decides a count, a boundary or an equality. */
import type { z } from 'zod';
import type { ratioSchema } from './schema.ts';

/** A positive rational number in lowest terms. A rate is in frames (or samples) a second: 24000/1001. */
export type Ratio = z.infer<typeof ratioSchema>;
export type Rate = Ratio;

export function gcd(a: bigint, b: bigint): bigint {
  return b === 0n ? (a < 0n ? -a : a) : gcd(b, a % b);
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

export function multiplyRatios(a: Ratio, b: Ratio): Ratio {
  return ratio(BigInt(a.num) * BigInt(b.num), BigInt(a.den) * BigInt(b.den));
}

export function divideRatios(a: Ratio, b: Ratio): Ratio {
  return multiplyRatios(a, { num: b.den, den: b.num });
}

/** Negative when a < b, 0 when equal, positive when a > b. */
export function compareRatios(a: Ratio, b: Ratio): -1 | 0 | 1 {
  const left = BigInt(a.num) * BigInt(b.den);
  const right = BigInt(b.num) * BigInt(a.den);
  return left < right ? -1 : left > right ? 1 : 0;
}

/** top/bottom to the nearest whole number, halves upwards (towards +infinity); `bottom` is positive. */
export function roundedDivision(top: bigint, bottom: bigint): bigint {
  const above = 2n * top + bottom;
  const below = 2n * bottom;
  const whole = above / below;
  return above < 0n && above % below !== 0n ? whole - 1n : whole;
}

/** A whole number that JavaScript can hold; throws RangeError beyond 2^53. */
export function safeNumber(value: bigint): number {
  const number = Number(value);
  if (!Number.isSafeInteger(number)) throw new RangeError(`beyond 2^53: ${value}`);
  return number;
}

/** A count of units of 1/`from` seconds as the nearest count of units of 1/`to` seconds. Any sign. */
export function rescale(count: number, from: Rate, to: Rate): number {
  return safeNumber(
    roundedDivision(BigInt(count) * BigInt(from.den) * BigInt(to.num), BigInt(from.num) * BigInt(to.den)),
  );
}

/** The rates of SMPTE ST 12-1 and ST 12-3, slowest first. */
export const knownRates: readonly Rate[] = [
  ratio(24000, 1001),
  ratio(24),
  ratio(25),
  ratio(30000, 1001),
  ratio(30),
  ratio(48000, 1001),
  ratio(48),
  ratio(50),
  ratio(60000, 1001),
  ratio(60),
  ratio(96000, 1001),
  ratio(96),
  ratio(100),
  ratio(120000, 1001),
  ratio(120),
];

export function isKnownRate(rate: Rate): boolean {
  return knownRates.some((known) => sameRatio(known, rate));
}

/** Frames counted in one second of timecode label: the rate rounded to a whole number. 24 for 24000/1001. */
export function timecodeBase(rate: Rate): number {
  return Number(roundedDivision(BigInt(rate.num), BigInt(rate.den)));
}

/** A decimal as digits without the point, over a power of ten. */
function decimalOf(text: string): { digits: bigint; scale: bigint; places: number } | null {
  const parts = /^(\d{1,9})(?:\.(\d{1,9}))?$/.exec(text);
  if (parts === null) return null;
  const fraction = parts[2] ?? '';
  return {
    digits: BigInt(`${parts[1]}${fraction}`),
    scale: 10n ** BigInt(fraction.length),
    places: fraction.length,
  };
}

/**
 * `24000/1001`, `25`, `12.5`, and the usual decimal spellings of the 1000/1001 rates with two places or more
 * (`23.98`, `23.976`, `59.94`), which mean the exact pair. A decimal that is near such a rate without being its
 * rounding (`23.97`, `29.96`) is refused, since nobody can say what was meant. Throws RangeError.
 */
export function parseRate(text: string): Rate {
  const pair = /^(\d{1,9})[/:](\d{1,9})$/.exec(text.trim());
  if (pair !== null) return ratio(Number(pair[1]), Number(pair[2]));
  const decimal = decimalOf(text.trim());
  if (decimal === null || decimal.digits === 0n)
    throw new RangeError(`not a rate: ${JSON.stringify(text)}; write 25, 24000/1001 or 23.976`);
  const { digits, scale, places } = decimal;
  for (const known of knownRates) {
    if (known.den === 1) continue;
    const exact = roundedDivision(BigInt(known.num) * scale, BigInt(known.den));
    if (places >= 2 && exact === digits) return known;
    const distance = digits * BigInt(known.den) - BigInt(known.num) * scale;
    const fraction = places > 0 && digits % scale !== 0n;
    if (fraction && 20n * (distance < 0n ? -distance : distance) < BigInt(known.den) * scale) {
      throw new RangeError(
        `${text} is not the rounding of any rate in use; the nearest is ${formatRatio(known)}, write it so`,
      );
    }
  }
  return ratio(digits, scale);
}

/**
 * The known rate that a floating-point header field means: still formats store 24000/1001 as 23.976 in 32 bits.
 * Null when none lies within 5/1000 of a frame; the closest two known rates differ by 24/1000.
 */
export function knownRateNear(value: number): Rate | null {
  return knownRates.find((known) => Math.abs(value - known.num / known.den) <= 0.005) ?? null;
}
