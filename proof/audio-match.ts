/** One anchor of the source against what was heard around its place: is it there, when, how loud, which way round. */
import { filtered, lowBand, type Sampled, wideBand } from './audio-band.ts';
import { correlations } from './audio-correlate.ts';
import { type ExpectedAudio, heardAt, type ListeningWindow } from './audio-plan.ts';
import { blockSamples, type AudioFingerprint } from './audio-fingerprint.ts';

/** Audio is taken to be there from this correlation on; what coders leave of ordinary audio lies above 0.9, chance far below 0.6. */
const THERE = 0.8;
/** Audio fits its place from this correlation on. */
const FITS = 0.9;
/** Audio below this says nothing in a coded track: coders drop what cannot be heard. dBFS of the band. */
const FAINT_DECIBELS = -66;
/** A channel that has lost this much holds no audio any more. */
const LOST_DECIBELS = 40;
/** Where the band holds less than this of the whole, the whole is looked at. */
const BAND_SHARE_DECIBELS = -40;
/** Another place fits as well when it is missed by no more than so many times what the best is missed by, or so much. */
const EQUAL_FACTOR = 4;
const EQUAL_MISS = 0.001;
/** Where less of the anchor's energy than this lies within reach of the filter, what lies at its edges would decide. */
const INNER_SHARE = 0.25;
/** How sure a claim must be, in standard deviations of the measured lag. */
const DEVIATIONS = 4;
/** Pieces of a window whose errors are taken as independent. */
const PIECES = 8;

const anchorVerdicts = ['proved', 'moved', 'lost', 'absent', 'silent', 'unproven'] as const;
/**
 * proved: in place within `allowed`. moved: there, but not in place. lost: silence instead. absent: something else instead.
 * silent: the source holds too little to tell. unproven: it fits, but would fit other places as well, or cannot be told from its remains.
 */
export type AnchorVerdict = (typeof anchorVerdicts)[number];

export interface AnchorMatch {
  readonly verdict: AnchorVerdict;
  /** Output samples; positive: later than expected. 0 where nothing was found. */
  readonly lag: number;
  /** Linear factor from source to output, negative when inverted; 0 where nothing was found. */
  readonly gain: number;
  readonly correlation: number;
  /** How far the true lag may lie from this one, output samples; infinite where nothing was found. */
  readonly doubt: number;
}

const nothing = (verdict: AnchorVerdict): AnchorMatch => ({
  ...{ verdict, lag: 0, gain: 0, correlation: 0 },
  doubt: Number.POSITIVE_INFINITY,
});

function energyOf(values: ArrayLike<number>): number {
  let sum = 0;
  for (let index = 0; index < values.length; index++) sum += (values[index] as number) ** 2;
  return sum;
}

const rootMeanSquare = (values: ArrayLike<number>): number =>
  values.length === 0 ? 0 : Math.sqrt(energyOf(values) / values.length);

const decibels = (linear: number): number =>
  linear === 0 ? Number.NEGATIVE_INFINITY : 20 * Math.log10(linear);

/** Local maxima of the absolute correlation, strongest first. */
function peaksOf(values: Float64Array): number[] {
  const peaks: number[] = [];
  const size = (index: number): number => Math.abs(values[index] ?? 0);
  for (let index = 0; index < values.length; index++)
    if (size(index) > 0 && size(index) >= size(index - 1) && size(index) > size(index + 1)) peaks.push(index);
  return peaks.sort((a, b) => size(b) - size(a));
}

/** Gain and lag below one sample by least squares: heard = gain · signal(t - lag), with the standard deviation of the lag. */
function refine(
  signal: Float64Array,
  slope: Float64Array,
  heard: Float64Array,
): { gain: number; lag: number; deviation: number } {
  let [ss, st, tt, sh, th] = [0, 0, 0, 0, 0];
  for (let index = 0; index < signal.length; index++) {
    const [s, t, h] = [signal[index] as number, slope[index] as number, heard[index] as number];
    ss += s * s;
    st += s * t;
    tt += t * t;
    sh += s * h;
    th += t * h;
  }
  const determinant = ss * tt - st * st;
  if (determinant <= 0) return { gain: 0, lag: 0, deviation: Number.POSITIVE_INFINITY };
  const gain = (sh * tt - th * st) / determinant;
  const turn = (th * ss - sh * st) / determinant;
  // Errors of a coder hang together over a while, so they are added up in pieces first.
  const pieces = new Float64Array(PIECES);
  for (let index = 0; index < signal.length; index++) {
    const error =
      (heard[index] as number) - gain * (signal[index] as number) - turn * (slope[index] as number);
    const piece = Math.floor((index * PIECES) / signal.length);
    pieces[piece] =
      (pieces[piece] as number) + error * ((slope[index] as number) - (st / ss) * (signal[index] as number));
  }
  const spread = Math.sqrt(pieces.reduce((sum, value) => sum + value * value, 0));
  return { gain, lag: -turn / gain, deviation: (spread * ss) / determinant / Math.abs(gain) };
}

export interface AnchorRequest {
  readonly source: AudioFingerprint;
  /** Of what was heard, Hz. */
  readonly sampleRate: number;
  readonly expected: ExpectedAudio;
  readonly window: ListeningWindow;
  /** The samples of the window. */
  readonly heard: Int32Array;
  /** Lag that is still in place, output samples. */
  readonly allowed: number;
}

export function matchAnchor({
  source,
  sampleRate,
  expected,
  window,
  heard,
  allowed,
}: AnchorRequest): AnchorMatch {
  const { samples, block } = window.anchor;
  const lossless = expected.precision !== null;
  const begin = source.start + block * blockSamples(source.sampleRate);
  const step = source.sampleRate / sampleRate;
  const scale = 2 ** 31;
  const lowest = wideBand(Math.min(source.sampleRate, sampleRate));
  // First and last output sample (of the track) at which the filter sees nothing but the anchor.
  const timesFor = (reach: number): { first: number; count: number } => {
    const first = Math.ceil((begin + expected.offset + reach * source.sampleRate) / step);
    return {
      first,
      count:
        Math.floor((begin + samples.length - 1 + expected.offset - reach * source.sampleRate) / step) -
        first +
        1,
    };
  };
  const sourceAt = (outputSample: number): number => outputSample * step - expected.offset - begin;
  const anchor: Sampled = { samples, sampleRate: source.sampleRate };
  const low = timesFor(lowBand.reach);
  const lowSignal =
    low.count > 0
      ? filtered(anchor, lowBand, { first: sourceAt(low.first), step, count: low.count })
      : new Float64Array(0);
  const whole = rootMeanSquare(samples) / scale;
  const inBand = decibels(rootMeanSquare(lowSignal) / scale);
  const band =
    inBand >= decibels(whole) + BAND_SHARE_DECIBELS && (lossless || inBand >= FAINT_DECIBELS - 20)
      ? lowBand
      : lowest;
  const { first, count } = band === lowBand ? low : timesFor(band.reach);
  if (count < 2 * PIECES) return nothing('unproven');
  const signal =
    band === lowBand ? lowSignal : filtered(anchor, band, { first: sourceAt(first), step, count });
  if (!lossless && decibels(whole) < FAINT_DECIBELS) return nothing('silent');
  if (rootMeanSquare(signal) === 0) return nothing('silent');

  const reach = Math.ceil(band.reach * sampleRate);
  const edge = Math.ceil(band.reach * source.sampleRate);
  if (energyOf(samples.subarray(edge, samples.length - edge)) < INNER_SHARE * energyOf(samples))
    return nothing('unproven');

  const place = heardAt(begin, source, sampleRate, expected.offset) - window.from;
  const own = heard.subarray(place, place + Math.round(samples.length / step));
  if (decibels(rootMeanSquare(own) / scale) < Math.max(-100, decibels(whole) - LOST_DECIBELS))
    return nothing('lost');

  const before = first - window.from;
  const margin = Math.max(0, Math.min(before - reach, heard.length - before - count - reach));
  const around = filtered({ samples: heard, sampleRate }, band, {
    first: before - margin,
    step: 1,
    count: count + 2 * margin,
  });
  const values = correlations(signal, around);
  const size = (shift: number): number => Math.abs(values[shift] ?? 0);
  const peaks = peaksOf(values);
  const best = peaks[0];
  if (best === undefined || size(best) < THERE) {
    // In the whole band a coder may have put noise for noise.
    return nothing(band === lowBand || lossless ? 'absent' : 'unproven');
  }
  const miss = Math.max(EQUAL_FACTOR * (1 - size(best)), EQUAL_MISS);
  const equal = peaks.filter((peak) => 1 - size(peak) <= miss);
  const nearer = (a: number, b: number): number => (Math.abs(b - margin) < Math.abs(a - margin) ? b : a);
  const early = filtered(anchor, band, { first: sourceAt(first) - step / 4, step, count });
  const late = filtered(anchor, band, { first: sourceAt(first) + step / 4, step, count });
  const slope = late.map((value, index) => 2 * (value - (early[index] as number)));
  const measure = (peak: number): AnchorMatch & { inPlace: boolean } => {
    const { gain, lag: rest, deviation } = refine(signal, slope, around.subarray(peak, peak + count));
    const lag = peak - margin + (Math.abs(rest) <= 2 ? rest : 0);
    const doubt = DEVIATIONS * deviation;
    return {
      verdict: 'proved',
      lag,
      gain,
      correlation: values[peak] as number,
      doubt,
      inPlace: Math.abs(lag) - doubt <= allowed,
    };
  };
  // What fits well in its place is not called moved, even where a later round of a tone fits better than its onset does.
  const near = peaks
    .filter((peak) => Math.abs(peak - margin) <= allowed + 2 && size(peak) >= FITS)
    .reduce<number | null>((a, b) => (a === null ? b : nearer(a, b)), null);
  const placed = near === null ? null : measure(near);
  const { inPlace, ...match } = placed?.inPlace ? placed : measure(equal.reduce(nearer, best));
  if (!inPlace) return { ...match, verdict: 'moved' };
  if (
    equal.length > 1 ||
    !equal.includes(near ?? -1) ||
    Math.abs(match.lag) + match.doubt > Math.max(allowed, 0.5)
  )
    return { ...match, verdict: 'unproven' };
  return match;
}
