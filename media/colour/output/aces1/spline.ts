/**
 * Tone curves of ACES 1: quadratic B-splines from log10 to log10, in two halves that meet at grey (aces-dev 1.3, `ACESlib.Tonescales.ctl`
 * and `ACESlib.SSTS.ctl`).
 */

interface Point {
  readonly x: number;
  readonly y: number;
}

export interface Spline {
  readonly least: Point & { readonly slope: number };
  readonly middle: Point;
  readonly most: Point & { readonly slope: number };
  /** Of the halves: log10 of luminance, at equal distances of log10 x. */
  readonly low: readonly number[];
  readonly high: readonly number[];
}

function half(coefficients: readonly number[], part: number): number {
  const place = part * (coefficients.length - 3);
  const from = Math.min(Math.floor(place), coefficients.length - 3);
  const t = place - from;
  const [a, b, c] = coefficients.slice(from, from + 3) as [number, number, number];
  return 0.5 * (t * t * (a - 2 * b + c) + 2 * t * (b - a) + a + b);
}

/** A spline ready to be evaluated: linear light to luminance in cd/m². Beyond its ends it goes on straight. */
export function prepareSpline({ least, middle, most, low, high }: Spline): (x: number) => number {
  const [leastX, middleX, mostX] = [Math.log10(least.x), Math.log10(middle.x), Math.log10(most.x)];
  const [leastY, mostY] = [Math.log10(least.y), Math.log10(most.y)];
  const logarithm = (x: number): number => {
    if (x <= leastX) return leastY + (x - leastX) * least.slope;
    if (x < middleX) return half(low, (x - leastX) / (middleX - leastX));
    if (x < mostX) return half(high, (x - middleX) / (mostX - middleX));
    return mostY + (x - mostX) * most.slope;
  };
  // The smallest 16-bit float in place of what has no logarithm.
  return (x) => 10 ** logarithm(Math.log10(Math.max(x, 2 ** -24)));
}
