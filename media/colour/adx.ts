/** Academy density exchange (SMPTE ST 2065-3) to scene-linear AP0, by the Academy's transforms “ACEScsc.ADX10_to_ACES” and “ACEScsc.ADX16_to_ACES” (a1.0.0). */
import { diagonal, type Matrix } from './matrix.ts';
import { type ColourTransform, curveStep, matrixStep } from './steps.ts';

/** Codes of full scale to channel dependent density: how much a whole scale is, and what code 0 is. */
const DENSITY = {
  adx10: { scale: 1023 / 500, zero: -95 / 500 },
  adx16: { scale: 65535 / 8000, zero: -1520 / 8000 },
} as const;

/** Channel dependent to channel independent density. The published table has a column in each line. */
const INDEPENDENT: Matrix = [
  [0.75573, 0.22197, 0.0223],
  [0.05901, 0.96928, -0.02829],
  [0.16134, 0.07406, 0.7646],
];

/** Relative exposure to AP0. */
const TO_AP0: Matrix = [
  [0.72286, 0.1263, 0.15084],
  [0.11923, 0.76418, 0.11659],
  [0.01427, 0.08213, 0.90359],
];

export function adxTransform(name: keyof typeof DENSITY): ColourTransform {
  const { scale, zero } = DENSITY[name];
  return {
    steps: [
      matrixStep(diagonal([scale, scale, scale]), [zero, zero, zero]),
      matrixStep(INDEPENDENT),
      curveStep({ form: 'published', curve: { name: 'adx' }, direction: 'decode' }),
      matrixStep(TO_AP0),
    ],
  };
}
