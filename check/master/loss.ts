/**
 * How much a frame of DWA may lose, on its curve (proof/curve-steps.ts). By arithmetic: its level / 100000, times an entry of a table by its least one, is the most that
 * a coefficient of a block may be off (ITU-T T.81, K.1 and K.2; OpenEXR's ImfDwaCompressor.cpp), and coefficients that lie evenly are off by a third of its square in the mean.
 * The transform keeps squares, and R, G, B follow from Y', Cb, Cr as the form says.
 */
import { CURVE_STEPS, curveOf } from '../../proof/curve-steps.ts';
import { REGIONS, regionAt, SKETCH_VALUES, sketchSquares } from '../../proof/whole-frame-sketch.ts';
import { dwaLevelOf, type MasterForm } from '../../profiles/master/form.ts';

/** Means of the squares of the two tables by their least entry: light, colour. */
const LIGHT = 45.004375;
const COLOUR = 28.114133;
/** Sums of the same: of 64 entries of light by 10, of colour by 17. */
const LIGHT_SUM = 368.8;
const COLOUR_SUM = 5505 / 17;
/** What of Cr and Cb is in R, G, B. */
const OF_COLOUR = [1.5747 ** 2, 0.1873 ** 2 + 0.4682 ** 2, 1.8556 ** 2] as const;

/** Mean square of the error of R, G, B that a level has where every coefficient is off evenly; pictures with less in them lose less. */
export function usualLoss(form: Pick<MasterForm, 'dwaLevel'>): readonly [number, number, number] {
  const base = dwaLevelOf(form) / 100_000;
  const [light, colour] = [(base ** 2 * LIGHT) / 3, (base ** 2 * COLOUR) / 3];
  const [red, green, blue] = OF_COLOUR;
  return [light + red * colour, light + green * colour, light + blue * colour];
}

/** Twice the usual: a sketch of 64 regions says the mean square of three channels within a tenth (one in three); what the pictures of the tests lose stays below one and a half times, as a sketch says it. */
const OF_FRAME = 2;
/** A region says it by one number a channel, which is squared: chance alone makes it 40 times as much once in some 10^10. */
const OF_REGION = 40;
/** Halves on the way, of coefficients, on the curve, and linear: squares of them, of the square of the value. */
const ROUNDING = 4 * 2 ** -22;
/** Two steps that were rounded to whole ones. */
const STEP = 1 / 6 / CURVE_STEPS ** 2;

export interface FrameLoss {
  /** Mean square error of a frame, of R, G, B together, and what it may be. */
  readonly found: number;
  readonly allowed: number;
  /** Of the region that has the most of what it may have. */
  readonly worst: { readonly region: number; readonly found: number; readonly allowed: number };
}

/** `found` and `wanted`: sketches of steps on the curve; `greatest`: the greatest value on the curve that the frame has. */
export function frameLoss(
  form: Pick<MasterForm, 'dwaLevel'>,
  {
    found,
    wanted,
    greatest,
  }: { readonly found: Int32Array; readonly wanted: Int32Array; readonly greatest: number },
  { width, height }: { readonly width: number; readonly height: number },
): FrameLoss {
  const usual = usualLoss(form);
  let [sum, energy, pixels] = [0, 0, 0];
  let worst = { region: 0, found: 0, allowed: 1 };
  for (let region = 0; region < REGIONS; region += 1) {
    const { left, right, top, bottom } = regionAt(region, width, height);
    const count = (right - left) * (bottom - top);
    if (count === 0) continue;
    pixels += count;
    for (let channel = 0; channel < 3; channel += 1) {
      const at = region * (SKETCH_VALUES / REGIONS) + channel;
      const off = sketchSquares(((found[at] as number) - (wanted[at] as number)) | 0) / CURVE_STEPS ** 2;
      sum += off;
      energy += sketchSquares(wanted[at] as number) / CURVE_STEPS ** 2;
      const allowed = OF_REGION * ((usual[channel] as number) + ROUNDING * greatest ** 2 + STEP);
      if (off / count / allowed > worst.found / worst.allowed)
        worst = { region, found: off / count, allowed };
    }
  }
  return {
    found: sum / pixels,
    allowed: OF_FRAME * (usual[0] + usual[1] + usual[2] + (ROUNDING * energy) / pixels + 3 * STEP),
    worst,
  };
}

type Triple = readonly [number, number, number];

/** Of single pixels, root of the mean square: those of the tests' pictures stay below ten. */
const OF_PIXEL = 12;
/** Of the 64 points of a frame, in squares; as many pixels of the tests' pictures stay below twice. */
const OF_POINTS = 4;
/** Of the mean over many pixels: what is off evenly is off to both sides. */
const OF_MEAN = 8;
/** A whole block's mean is its first coefficient's, an eighth of it: entries of the two tables by their least. */
const OF_BLOCK = (1.6 + 1.8556) / 8;

/** What is lost besides, at a pixel: rounding, of the largest of its channels on the curve, and `budget` of the arithmetic before it. */
function besides(wanted: Triple, budget: number): Triple {
  const rounding = 3 * 2 ** -11 * Math.max(...wanted.map((value) => Math.abs(curveOf(value))));
  const around = (value: number): number => rounding + curveOf(value + budget) - curveOf(value - budget);
  return [around(wanted[0]), around(wanted[1]), around(wanted[2])];
}

/** How far a pixel may be off on the curve. */
export function pixelLoss(form: Pick<MasterForm, 'dwaLevel'>, wanted: Triple, budget: number): Triple {
  const usual = usualLoss(form);
  const more = besides(wanted, budget);
  const of = (channel: 0 | 1 | 2): number => OF_PIXEL * Math.sqrt(usual[channel]) + more[channel];
  return [of(0), of(1), of(2)];
}

/** No coefficient of frequency is more than a quarter of itself at a pixel (amplitudes of an orthonormal transform of 8 by 8). */
const MOST_AMPLITUDE = 1 / 4;

/**
 * How far on the curve any pixel can be off at all: every coefficient by all that it may be, all to one side. What a picture loses is far
 * less; it bounds the extremes of millions of pixels. `greatest`: on the curve, of the frame.
 */
export function mostLoss(form: Pick<MasterForm, 'dwaLevel'>, greatest: number): Triple {
  const base = (dwaLevelOf(form) / 100_000) * MOST_AMPLITUDE;
  const [light, colour] = [base * LIGHT_SUM, base * COLOUR_SUM];
  const rounding = 3 * 2 ** -11 * greatest;
  return [
    light + 1.5747 * colour + rounding,
    light + (0.1873 + 0.4682) * colour + rounding,
    light + 1.8556 * colour + rounding,
  ];
}

/** Points of many frames, of which none but all together show what is small and everywhere: a gain, an offset, other colours. */
export class PointsLoss {
  readonly #usual: Triple;
  readonly #level: number;
  readonly #sums = [0, 0, 0];
  readonly #more = [0, 0, 0];
  #count = 0;

  constructor(form: Pick<MasterForm, 'dwaLevel'>) {
    this.#usual = usualLoss(form);
    this.#level = dwaLevelOf(form);
  }

  /** Of one frame: its mean square error by what it may be; above 1 it is too much. */
  take(
    found: ArrayLike<number>,
    wanted: (pixel: number) => { readonly value: Triple; readonly budget: number },
    pixels: number,
  ): number {
    let square = 0;
    for (let pixel = 0; pixel < pixels; pixel += 1) {
      const { value, budget } = wanted(pixel);
      const more = besides(value, budget);
      for (const channel of [0, 1, 2] as const) {
        const off = curveOf(found[3 * pixel + channel] as number) - curveOf(value[channel]);
        square += Math.max(0, Math.abs(off) - more[channel]) ** 2;
        this.#sums[channel] = (this.#sums[channel] as number) + off;
        this.#more[channel] = (this.#more[channel] as number) + more[channel];
      }
    }
    this.#count += pixels;
    const [red, green, blue] = this.#usual;
    return square / pixels / (OF_POINTS * (red + green + blue));
  }

  /** The mean of all of them that is the furthest off, by what it may be. */
  mean(): { readonly worst: number; readonly channel: number; readonly off: number } {
    let worst = { worst: 0, channel: 0, off: 0 };
    for (const channel of [0, 1, 2] as const) {
      const off = (this.#sums[channel] as number) / Math.max(1, this.#count);
      const allowed =
        OF_MEAN * Math.sqrt(this.#usual[channel] / Math.max(1, this.#count)) +
        (this.#more[channel] as number) / Math.max(1, this.#count) +
        (OF_BLOCK * this.#level) / 100_000;
      if (!(Math.abs(off) / allowed <= worst.worst)) worst = { worst: Math.abs(off) / allowed, channel, off };
    }
    return worst;
  }
}
