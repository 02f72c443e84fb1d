/** The connection space of DNG, adaptation to and from it, and the way from there to AP0. */
import { adapt, type Chromaticity, gamuts, toXyz } from '../../colour/gamuts.ts';
import { invert } from '../../colour/matrix.ts';
import { apply, diagonal, type Matrix, multiply, type Triple } from './matrix.ts';

export type { Chromaticity };

/** D50 as the DNG specification rounds it. */
export const D50: Chromaticity = [0.3457, 0.3585];

/** XYZ of a chromaticity, Y 1. */
export const xyzOf = ([x, y]: Chromaticity): Triple => [x / y, 1, (1 - x - y) / y];

/** Null when there is no such light: its sum or Y is not positive. */
export function chromaticityOf([x, y, z]: Triple): Chromaticity | null {
  const sum = x + y + z;
  return sum > 0 && y > 0 && Number.isFinite(sum) ? [x / sum, y / sum] : null;
}

/** The cone response of the linear Bradford transform (ICC.1:2010, Annex E). */
const bradford: Matrix = [
  [0.8951, 0.2664, -0.1614],
  [-0.7502, 1.7135, 0.0367],
  [0.0389, -0.0685, 1.0296],
];
/** How far one cone may be adapted: the reference code of DNG holds it within these, for lights at the rim of the diagram. */
const LEAST_GAIN = 0.1;
const MOST_GAIN = 10;

/** XYZ under one white to XYZ under another, linear Bradford, each cone within its bounds. */
export function boundedAdaptation(from: Chromaticity, to: Chromaticity): Matrix {
  const a = apply(bradford, xyzOf(from));
  const b = apply(bradford, xyzOf(to));
  const gain = (index: 0 | 1 | 2): number =>
    Math.max(LEAST_GAIN, Math.min(a[index] > 0 ? b[index] / a[index] : MOST_GAIN, MOST_GAIN));
  return multiply(invert(bradford), diagonal([gain(0), gain(1), gain(2)]), bradford);
}

/** XYZ D50 to AP0 (SMPTE ST 2065-1): the white of D50 becomes (1, 1, 1). */
export const d50ToAp0: Matrix = multiply(invert(toXyz(gamuts.ap0)), adapt(D50, gamuts.ap0.white, 'bradford'));
