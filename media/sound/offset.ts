/**
 * Where one sound lies in another that heard the same: the generalised cross-correlation of a short part of the one with a longer part of the other, its spectrum partly
 * whitened, so that rooms, distance and other microphones broaden the peak less (C. H. Knapp and G. C. Carter, The generalized correlation method for estimation of time
 * delay, IEEE Transactions on Acoustics, Speech, and Signal Processing 24, 1976). Pure.
 */
import { fft, ifft } from 'fourier-transform';

export interface FoundOffset {
  /** Sample of the longer part beside the first one of the shorter. */
  readonly at: number;
  /** How far the peak stands above the correlation elsewhere: in standard deviations of that. */
  readonly certainty: number;
  /** The same of the highest place that is no part of the peak: of a tone, which fits again and again, nearly as much. */
  readonly elsewhere: number;
}

/** 0: plain correlation, in which a tone fits everywhere; 1: every frequency counts alike, noise too. */
const WHITENED = 0.7;
/** Around the peak, part of its neighbours: what is heard twice there is the same peak. */
const PEAK_SECONDS = 0.01;
/** Root of the mean square, of full scale 1, below which there is nothing to hear. */
const SILENCE = 1e-5;

function powerOf2(least: number): number {
  return 2 ** Math.ceil(Math.log2(least));
}

function loudness(samples: Float32Array): number {
  let sum = 0;
  for (const value of samples) sum += value * value;
  return Math.sqrt(sum / Math.max(1, samples.length));
}

function spectrumOf(samples: Float32Array, size: number): readonly [Float64Array, Float64Array] {
  const padded = new Float64Array(size);
  padded.set(samples);
  const [re, im] = fft(padded);
  // The library's own memory, which the next call writes again.
  return [Float64Array.from(re), Float64Array.from(im)];
}

/** null: one of them is silent, or `long` is no longer than `short`. Both at `sampleRate`. */
export function offsetIn(short: Float32Array, long: Float32Array, sampleRate: number): FoundOffset | null {
  const places = long.length - short.length + 1;
  if (places < 2 || loudness(short) < SILENCE || loudness(long) < SILENCE) return null;
  const size = powerOf2(long.length + short.length);
  const [sr, si] = spectrumOf(short, size);
  const [lr, li] = spectrumOf(long, size);
  for (let bin = 0; bin < sr.length; bin += 1) {
    const [a, b, c, d] = [lr[bin] as number, li[bin] as number, sr[bin] as number, si[bin] as number];
    const [re, im] = [a * c + b * d, b * c - a * d];
    const weight = (re * re + im * im) ** (WHITENED / 2);
    lr[bin] = weight === 0 ? 0 : re / weight;
    li[bin] = weight === 0 ? 0 : im / weight;
  }
  const correlation = ifft(lr, li).subarray(0, places);
  let at = 0;
  for (let place = 1; place < places; place += 1)
    if ((correlation[place] as number) > (correlation[at] as number)) at = place;
  const around = Math.round(PEAK_SECONDS * sampleRate);
  let [count, sum, squares, elsewhere] = [0, 0, 0, 0];
  for (const [place, value] of correlation.entries()) {
    if (Math.abs(place - at) > around) {
      elsewhere = Math.max(elsewhere, value);
      count += 1;
      sum += value;
      squares += value * value;
    }
  }
  if (count === 0) return null;
  const mean = sum / count;
  const deviation = Math.sqrt(Math.max(0, squares / count - mean * mean));
  const inDeviations = (value: number): number => (deviation === 0 ? 0 : (value - mean) / deviation);
  return {
    ...{ at, certainty: inDeviations(correlation[at] as number) },
    elsewhere: Math.max(0, inDeviations(elsewhere)),
  };
}
