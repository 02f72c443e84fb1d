/**
 * Steps in which a picture of DWA is compared: on the curve that its loss is even on (a power up to 1, a logarithm above, as OpenEXR's dwaLookups.cpp has
 * it), 4096 to a whole. The largest half is at 24744, so that all fit 16 bits.
 */
export const CURVE_STEPS = 4096;

const GAMMA = 2.2;
const LARGEST = 65_504;

export function curveOf(value: number): number {
  const size = Math.min(Math.abs(value), LARGEST);
  return Math.sign(value) * (size <= 1 ? size ** (1 / GAMMA) : 1 + Math.log(size) / GAMMA);
}

/** By the bits of a half (IEEE 754 binary16); what is no number or infinite counts as the end of the scale. */
export function curveSteps(): Int16Array {
  return Int16Array.from({ length: 0x1_0000 }, (_, bits) => {
    const exponent = (bits >> 10) & 31;
    const fraction = bits & 1023;
    const size = exponent === 0 ? fraction * 2 ** -24 : (1024 + fraction) * 2 ** (exponent - 25);
    return Math.round(CURVE_STEPS * curveOf((bits & 0x8000) === 0 ? size : -size));
  });
}
