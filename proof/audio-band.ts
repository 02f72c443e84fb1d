/**
 * One band of a window of samples, at the times of another rate. Both windows that are compared go through the same
 * continuous response, so what a codec or a change of rate leaves out above the band does not matter.
 */

/** The impulse response of a filter over seconds, symmetrical in extent: zero beyond `reach`. */
export interface Band {
  readonly reach: number;
  readonly at: (seconds: number) => number;
}

function windowed(cutoff: number, reach: number, seconds: number): number {
  if (Math.abs(seconds) >= reach) return 0;
  const angle = 2 * cutoff * seconds;
  const sinc = angle === 0 ? 1 : Math.sin(Math.PI * angle) / (Math.PI * angle);
  return 2 * cutoff * sinc * 0.5 * (1 + Math.cos((Math.PI * seconds) / reach));
}

/**
 * Up to about 4 kHz, where AAC coders keep the waveform: above, they may put noise of their own in place of noise and share
 * bands between channels (ISO/IEC 14496-3, perceptual noise substitution and intensity stereo; FFmpeg's coder begins at
 * 4 kHz). The derivative of a low pass: audio falls with frequency, and the upper part tells times best.
 */
export const lowBand: Band = {
  reach: 0.001,
  at: (seconds) =>
    (windowed(3000, 0.001, seconds + STEP) - windowed(3000, 0.001, seconds - STEP)) /
    (2 * STEP * 2 * Math.PI * 3000),
};
const STEP = 1e-6;

/** All that both rates can hold, nearly. */
export function wideBand(sampleRate: number): Band {
  const reach = 24 / sampleRate;
  return { reach, at: (seconds) => windowed(0.42 * sampleRate, reach, seconds) };
}

/** A window of samples. */
export interface Sampled {
  readonly samples: Int32Array;
  /** Hz. */
  readonly sampleRate: number;
}

/** `count` times, `first` + n · `step`, in samples of a window, fractions allowed. */
export interface Times {
  readonly first: number;
  readonly step: number;
  readonly count: number;
}

/** The filtered signal at these times. Samples outside the window count as 0. */
export function filtered(
  { samples, sampleRate }: Sampled,
  band: Band,
  { first, step, count }: Times,
): Float64Array {
  const result = new Float64Array(count);
  const reach = band.reach * sampleRate;
  const taps = step === 1 ? integerTaps(band, sampleRate, first) : null;
  for (let index = 0; index < count; index++) {
    const centre = first + index * step;
    const from = Math.max(0, Math.ceil(centre - reach));
    const to = Math.min(samples.length - 1, Math.floor(centre + reach));
    let sum = 0;
    if (taps === null)
      for (let at = from; at <= to; at++)
        sum += (samples[at] as number) * band.at((centre - at) / sampleRate);
    else {
      const shift = taps.base + index;
      for (let at = from; at <= to; at++)
        sum += (samples[at] as number) * (taps.values[shift - at] as number);
    }
    result[index] = sum / sampleRate;
  }
  return result;
}

/** With steps of one sample every output meets the same taps: tap of `values[base + index - at]`. */
function integerTaps(band: Band, sampleRate: number, first: number): { values: Float64Array; base: number } {
  const reach = band.reach * sampleRate;
  const whole = Math.floor(first);
  const fraction = first - whole;
  const half = Math.ceil(reach) + 1;
  const values = Float64Array.from({ length: 2 * half + 1 }, (_, tap) =>
    band.at((tap - half + fraction) / sampleRate),
  );
  return { values, base: whole + half };
}
