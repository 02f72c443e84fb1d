/**
 * Samples between samples: a sinc under a Kaiser window, in double precision, from a table of places within a sample. The window's form is that of J. F. Kaiser, Nonrecursive digital filter
 * design using the I0-sinh window function, 1974 (from memory). Pure.
 */

/** Samples that are looked at on either side. */
export const REACH = 32;
/** Of the window: what is let by where nothing should be lies 90 dB below (measured, test/check/interpolate.test.ts). */
const BETA = 9;
/** Places within a sample that the table has; between two of them straight. */
const PLACES = 1024;
const TAPS = 2 * REACH;

/** The modified Bessel function of the first kind of order 0, by its series. */
function bessel0(x: number): number {
  let [sum, term] = [1, 1];
  for (let k = 1; term > 1e-17 * sum; k += 1) {
    term *= (x / (2 * k)) ** 2;
    sum += term;
  }
  return sum;
}

function weight(distance: number): number {
  const part = distance / REACH;
  if (Math.abs(part) >= 1) return 0;
  const window = bessel0(BETA * Math.sqrt(1 - part * part)) / bessel0(BETA);
  const turned = Math.PI * distance;
  return window * (distance === 0 ? 1 : Math.sin(turned) / turned);
}

let table: Float64Array | null = null;
/** Weights of the samples from REACH - 1 before a place to REACH behind it, for each place. */
function weights(): Float64Array {
  if (table !== null) return table;
  table = new Float64Array((PLACES + 1) * TAPS);
  for (let place = 0; place <= PLACES; place += 1)
    for (let tap = 0; tap < TAPS; tap += 1)
      table[place * TAPS + tap] = weight(tap - (REACH - 1) - place / PLACES);
  return table;
}

/** `count` values from the place `first` on, every `step` samples. Before and behind the samples lie zeros. */
export function interpolated(
  samples: Float64Array,
  { first, step, count }: { readonly first: number; readonly step: number; readonly count: number },
): Float64Array {
  const of = weights();
  const out = new Float64Array(count);
  for (let index = 0; index < count; index += 1) {
    const at = first + index * step;
    const whole = Math.floor(at);
    const place = (at - whole) * PLACES;
    const row = Math.floor(place);
    const rest = place - row;
    const [near, next] = [row * TAPS, Math.min(row + 1, PLACES) * TAPS];
    let sum = 0;
    for (let tap = 0; tap < TAPS; tap += 1) {
      const sample = samples[whole - (REACH - 1) + tap] ?? 0;
      sum += sample * ((of[near + tap] as number) * (1 - rest) + (of[next + tap] as number) * rest);
    }
    out[index] = sum;
  }
  return out;
}
