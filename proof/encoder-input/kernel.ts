/**
 * The scaler's kernel along one side of a picture, in double precision: libswscale's cubic with B = 0, C = 0.6 (its default for `bicubic`),
 * widened by the factor where the picture becomes smaller. Written from the description of the arithmetic, and held against ffmpeg in the tests.
 *
 * What belongs to the stated arithmetic: the step from sample to sample is the ratio of the sizes to the nearest 65536th; a side has at
 * most two taps fewer than it has samples; taps at either end that amount to less than a 3000th of the middle one are left out;
 * the weights of taps beyond the edge go to the outermost sample.
 */

/** Where the first sample of a plane lies, in samples of that plane from its left or upper edge: 0.5 for one that lies in the middle of its area. */
export interface Side {
  readonly from: number;
  readonly to: number;
  /** Of the source's plane, and of what is made. */
  readonly places: readonly [number, number];
}

export interface Axis {
  /** Of each made sample: its first source sample. */
  readonly first: Int32Array;
  /** Where its weights begin in `weights`: those of that sample and of those behind it, which add up to 1. One place more than samples. */
  readonly begins: Int32Array;
  readonly weights: Float64Array;
  /** Nothing is made of several samples: each is the source's own. */
  readonly same: boolean;
}

function axisFrom(first: Int32Array, lists: readonly Float64Array[], same: boolean): Axis {
  const begins = new Int32Array(lists.length + 1);
  for (const [at, list] of lists.entries()) begins[at + 1] = (begins[at] as number) + list.length;
  const weights = new Float64Array(begins[lists.length] as number);
  for (const [at, list] of lists.entries()) weights.set(list, begins[at]);
  return { first, begins, weights, same };
}

const C = 0.6;
/** 0 at a distance of 2. */
function cubic(distance: number): number {
  const d = Math.abs(distance);
  if (d >= 2) return 0;
  return d < 1
    ? ((12 - 6 * C) * d ** 3 + (-18 + 6 * C) * d ** 2 + 6) / 6
    : (-6 * C * d ** 3 + 30 * C * d ** 2 - 48 * C * d + 24 * C) / 6;
}

/** What the scaler drops at most, of the kernel's height. */
const CUT_OFF = 0.002 / 6;
const PARTS = 65_536;

/** Weights of a side, before taps are left out and edges folded. */
function rawTaps({ from, to, places }: Side): { first: number[]; weights: number[][]; taps: number } {
  const step = Math.floor((from * PARTS + Math.floor(to / 2)) / to);
  const larger = step <= PARTS;
  const wanted = larger ? 5 : 1 + Math.floor((4 * from + to - 1) / to);
  const taps = Math.max(1, Math.min(wanted, from - 2));
  const first: number[] = [];
  const weights: number[][] = [];
  for (let at = 0; at < to; at += 1) {
    // The middle of the first made sample lies places[1] steps from the edge.
    const middle = (at * step + Math.floor(places[1] * step * 256) / 256) / PARTS - places[0];
    const begin = Math.trunc(middle - (taps - 2) / 2);
    first.push(begin);
    weights.push(
      Array.from({ length: taps }, (_, tap) => {
        const away = Math.abs(begin + tap - middle);
        return cubic(larger ? away : (away * to) / from);
      }),
    );
  }
  return { first, weights, taps };
}

export function axisOf(side: Side): Axis {
  const { from, to, places } = side;
  if (from === to && places[0] === places[1])
    return axisFrom(
      Int32Array.from({ length: to }, (_, at) => at),
      Array.from({ length: to }, () => Float64Array.of(1)),
      true,
    );
  const { first, weights } = rawTaps(side);
  const kept = weights.map((list, at) => {
    let low = 0;
    let left = 0;
    // Those on the left are left out of each sample apart, but no sample begins behind the next one.
    while (low < list.length - 1) {
      left += Math.abs(list[low] as number);
      if (left > CUT_OFF || (at < to - 1 && (first[at] as number) + low >= (first[at + 1] as number))) break;
      low += 1;
    }
    return { begin: (first[at] as number) + low, list: list.slice(low) };
  });
  // And on the right as many as amount to nothing in every sample of the side.
  const length = Math.max(
    ...kept.map(({ list }) => {
      let high = list.length;
      let right = 0;
      while (high > 1) {
        right += Math.abs(list[high - 1] as number);
        if (right > CUT_OFF) break;
        high -= 1;
      }
      return high;
    }),
  );
  const begins = new Int32Array(to);
  const folded = kept.map(({ begin, list }, at) => {
    const used = list.slice(0, length);
    const whole = used.reduce((sum, weight) => sum + weight, 0);
    const lowest = Math.min(Math.max(begin, 0), from - 1);
    const highest = Math.min(Math.max(begin + used.length - 1, 0), from - 1);
    const out = new Float64Array(highest - lowest + 1);
    used.forEach((weight, tap) => {
      const sample = Math.min(Math.max(begin + tap, 0), from - 1) - lowest;
      out[sample] = (out[sample] as number) + weight / whole;
    });
    begins[at] = lowest;
    return out;
  });
  return axisFrom(begins, folded, false);
}
