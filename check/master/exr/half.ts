/**
 * Half floats (IEEE 754 binary16), as the values of a master are rounded: the reference that kernels are tested against and
 * that the checker computes with. Nearest, ties to even; what lies beyond the largest half becomes that; no number becomes 0.
 */

/** The largest finite half, 0x7bff. */
export const LARGEST_HALF = 65_504;
/** 2^-24, the smallest half above 0 and the distance between halves up to 2^-13. */
const SMALLEST = 2 ** -24;
const SIGN = 0x8000;
const EXPONENT = 0x7c00;
const FRACTION = 0x03ff;

/** True for infinities and for what is no number: such bits stand in no master. */
export const isNotFinite = (half: number): boolean => (half & EXPONENT) === EXPONENT;

/** To the nearest whole number, halves to the even one. */
function roundToEven(value: number): number {
  const below = Math.floor(value);
  const rest = value - below;
  if (rest !== 0.5) return rest < 0.5 ? below : below + 1;
  return below % 2 === 0 ? below : below + 1;
}

/** Bits of the half nearest to a value of any precision. */
export function toHalf(value: number): number {
  if (Number.isNaN(value)) return 0;
  const sign = value < 0 || Object.is(value, -0) ? SIGN : 0;
  const magnitude = Math.min(Math.abs(value), LARGEST_HALF);
  // 2^exponent <= magnitude, at least the exponent of the smallest normal half; powers of two divide without loss.
  let exponent = -14;
  while (magnitude >= 2 ** (exponent + 1)) exponent += 1;
  const steps = roundToEven(magnitude / 2 ** (exponent - 10));
  // Steps of a normal half are 1024 to 2048; the 2048th is the first of the next exponent, and the sum says so by itself.
  return sign | (steps + (exponent + 14) * 1024);
}

/** Value of a half; infinities and no number as JavaScript has them. Every finite half is exact in 32 bits. */
export function fromHalf(half: number): number {
  const fraction = half & FRACTION;
  const exponent = (half & EXPONENT) >> 10;
  const sign = (half & SIGN) === 0 ? 1 : -1;
  if (exponent === 31) return fraction === 0 ? sign * Number.POSITIVE_INFINITY : Number.NaN;
  return sign * (exponent === 0 ? fraction * SMALLEST : (1024 + fraction) * 2 ** (exponent - 25));
}

export const roundToHalf = (value: number): number => fromHalf(toHalf(value));

let table: Float32Array | null = null;
/** The values of all 65536 halves by their bits. */
export function halfValues(): Float32Array {
  if (table === null) table = Float32Array.from({ length: 65_536 }, (_, bits) => fromHalf(bits));
  return table;
}
