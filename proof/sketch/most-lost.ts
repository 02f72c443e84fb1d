/** How much a codec loses at most, by its class and the scale of its quantiser. */
import type { PlainLimits } from './plain-faults.ts';
import type { MostLost } from './verdict.ts';

/** How much samples lose, and how far averages move. */
export interface CodecLoss extends MostLost {
  readonly plain: PlainLimits;
}

const vc3: PlainLimits = {
  least: 1,
  ofLoss: 0.2,
  ofFlicker: 0,
  ofScale: 0,
  one: { region: 1.4, line: 0.45, gain: 0.045, mix: 0.032, moved: 0.045, offset: 0.28 },
  all: { region: 1.1, line: 0.34, gain: 0.028, mix: 0.02, moved: 0.028, offset: 0.23 },
};
const vc3Deep: PlainLimits = { ...vc3, least: 0.7 };
/**
 * The average of a block is coded in steps of its weight in the matrix, 4, times the scale, of which 32 are a code value of 10 bits; FFmpeg's encoder cuts where it could
 * round, so that it may be a whole step off.
 */
const RDD36_STEP = 4 / 32 / 4;
const rdd36: PlainLimits = {
  least: 1.4,
  ofLoss: 0.2,
  ofFlicker: 0,
  ofScale: RDD36_STEP,
  one: { region: 1.4, line: 0.65, gain: 0.14, mix: 0.06, moved: 0.07, offset: 0.55 },
  all: { region: 1.3, line: 0.5, gain: 0.14, mix: 0.032, moved: 0.065, offset: 0.55 },
};
const rdd36Fine: PlainLimits = { ...rdd36, least: 0.6, ofLoss: 0.9 };
/** Predicted from other frames, a frame keeps something of them. */
export const h264Plain: PlainLimits = {
  least: 4,
  ofLoss: 0.3,
  ofFlicker: 0.4,
  ofScale: 0,
  one: { region: 1.2, line: 0.6, gain: 0.2, mix: 0.25, moved: 0.1, offset: 0.25 },
  all: { region: 0.75, line: 0.28, gain: 0.055, mix: 0.045, moved: 0.042, offset: 0.2 },
};
/** Main 10 at a quality of 19 keeps averages better than H.264 at 21. At 30 it keeps less of noise, and more of the frames around: there these are wider. */
export const h265Plain: PlainLimits = { ...h264Plain, all: { ...h264Plain.all, gain: 0.07 } };

/**
 * Mean squared error, in code values of 8 bits: of any frame `rounding` and `frame` times the square of the scale, of a region of 16 samples a side or
 * more `region` times it. A third above the most that FFmpeg 5.1 made of twenty clips of 320x180: charts, fractals, noise, flashes, near black
 * (docs/mechanisms/picture-error.md).
 */
const byClass: Readonly<Record<string, CodecLoss>> = {
  'DNXHR LB': { plain: vc3, rounding: 1, frame: 0.65, region: 3.2 },
  'DNXHR SQ': { plain: vc3, rounding: 1, frame: 1.2, region: 3.8 },
  'DNXHR HQ': { plain: vc3, rounding: 1, frame: 0.95, region: 1.6 },
  'DNXHR HQX': { plain: vc3Deep, rounding: 0.15, frame: 0.045, region: 0.09 },
  'DNXHR 444': { plain: vc3Deep, rounding: 0.15, frame: 0.045, region: 0.09 },
  Proxy: { plain: rdd36, rounding: 1, frame: 0.35, region: 1.1 },
  LT: { plain: rdd36, rounding: 1, frame: 0.3, region: 0.5 },
  Standard: { plain: rdd36, rounding: 0.5, frame: 0.12, region: 0.2 },
  HQ: { plain: rdd36Fine, rounding: 0.2, frame: 0.04, region: 0.12 },
  '4444': { plain: rdd36Fine, rounding: 0.2, frame: 0.04, region: 0.12 },
  XQ: { plain: rdd36Fine, rounding: 0.2, frame: 0.04, region: 0.12 },
};

/** null: it was never measured. */
export function mostLost(codecProfile: string | null): CodecLoss | null {
  return codecProfile === null ? null : (byClass[codecProfile] ?? null);
}
