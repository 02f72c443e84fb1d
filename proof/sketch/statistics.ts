/** What the sketches of a clip say of a plane: energies by frame and by region, and by how many independent numbers each is known. Pure. */
import type { SketchDifferences } from './error.ts';
import type { SketchPlane } from './form.ts';

export interface PlaneStatistics {
  /** Mean squared error of each frame. */
  readonly errors: Float64Array;
  /** How many regions an error is spread over: by so many numbers it is known. */
  readonly counts: Float64Array;
  /** Energy of the difference of the encoder's pictures from frame to frame: at n that of n - 1 and n; 0 before the first and behind the last. */
  readonly steps: Float64Array;
  /** 1: the averages of all regions are alike, as of a checker of single pixels, in which all blocks lose the same. */
  readonly whole: Uint8Array;
  /** 1: detail changes in all regions alike, from the frame before or to the one behind, by more than was lost: noise, in which all blocks lose the same. */
  readonly noise: Uint8Array;
  /** Frames whose errors tell something that those before did not. */
  readonly independent: number;
  /** Mean squared error that the rounding of both sketches to 16 bits adds, on average. */
  readonly rounding: number;
}

/** Frames before one that it may be alike to. */
const LAGS = 4;
/** Between the quarters of the averages of regions, below which all are alike, code values of 8 bits: text in a corner does not count. */
const ALIKE = 0.25;

/** Of the regions, over which the change from frame to frame is spread at the least: of noise over all of them, as far as their number says. */
const EVERYWHERE = 0.6;

function isUniform(
  { plainAt }: SketchDifferences,
  frame: number,
  { from, columns, rows }: SketchPlane,
): boolean {
  const regions = columns * rows;
  const sorted = new Float64Array(regions);
  for (let region = 0; region < regions; region += 1) sorted[region] = plainAt(frame, from + region);
  sorted.sort();
  return (sorted[(3 * regions) >> 2] as number) - (sorted[regions >> 2] as number) < ALIKE;
}

export function planeStatistics(
  differences: SketchDifferences,
  plane: SketchPlane,
  plain: SketchPlane,
): PlaneStatistics {
  const { frames, at, stepAt } = differences;
  const regions = plane.columns * plane.rows;
  const errors = new Float64Array(frames);
  const counts = new Float64Array(frames);
  const steps = new Float64Array(frames + 1);
  const products = new Float64Array(LAGS + 1);
  const squares = new Float64Array(LAGS + 1);
  const changed = new Float64Array(frames + 1);
  const whole = new Uint8Array(frames);
  for (let frame = 0; frame < frames; frame += 1) {
    let sum = 0;
    let fourth = 0;
    let step = 0;
    let stepFourth = 0;
    for (let number = plane.from; number < plane.from + regions; number += 1) {
      const value = at(frame, number);
      const square = value * value;
      sum += square;
      fourth += square * square;
      const change = frame > 0 ? stepAt(frame, number) ** 2 : 0;
      step += change;
      stepFourth += change * change;
      for (let lag = 1; lag <= Math.min(LAGS, frame); lag += 1) {
        products[lag] = (products[lag] as number) + value * at(frame - lag, number);
        squares[lag] = (squares[lag] as number) + square;
      }
    }
    errors[frame] = sum / regions;
    // The fourth moment of a normal variable is three times the square of its second.
    counts[frame] = fourth === 0 ? regions : Math.min(regions, (3 * sum * sum) / fourth);
    steps[frame] = step / regions;
    changed[frame] = stepFourth === 0 ? 0 : (3 * step * step) / stepFourth / regions;
    whole[frame] = isUniform(differences, frame, plain) ? 1 : 0;
  }
  // Two numbers, each rounded to a 256th of a code value: 1/12 of the square of that, times the samples of the average.
  const isNoise = (frame: number, step: number): boolean =>
    (changed[step] as number) > EVERYWHERE && (steps[step] as number) > (errors[frame] as number);
  const rounding = (2 * plane.samples) / 12 / 256 ** 2;
  return {
    errors,
    counts,
    steps,
    whole,
    noise: whole.map((_, frame) => (isNoise(frame, frame) || isNoise(frame, frame + 1) ? 1 : 0)),
    rounding,
    independent: independentOf(frames, products, squares),
  };
}

/** Frames whose errors tell something that those before did not, by their products with those `lag` frames before and the squares beside. Of a strobe every picture is that before the last. */
function independentOf(frames: number, products: Float64Array, squares: Float64Array): number {
  let alike = frames === 1 ? 1 : 0;
  for (let lag = 1; lag <= Math.min(LAGS, frames - 1); lag += 1) {
    const square = squares[lag] as number;
    alike = Math.max(alike, square === 0 ? 1 : Math.min(1, (products[lag] as number) / square));
  }
  return Math.max(1, (frames * (1 - alike)) / (1 + alike));
}

export interface WorstRegion {
  readonly region: number;
  readonly frame: number;
  readonly error: number;
  readonly limit: number;
  readonly count: number;
}

export interface RegionRequest {
  readonly differences: SketchDifferences;
  readonly plane: number;
  /** Most that a region of the frame can have lost. */
  readonly limitAt: (frame: number) => number;
  readonly mostBy: (count: number) => number;
}

/** The worst region in the mean of all frames, and the worst in one; null: none is above its limit. */
export function regionStatistics({ differences, plane, limitAt, mostBy }: RegionRequest): {
  readonly standing: WorstRegion | null;
  readonly passing: WorstRegion | null;
} {
  const { frames, at, planes } = differences;
  const of = planes[plane] as SketchPlane;
  const limits = Float64Array.from({ length: frames }, (_, frame) => limitAt(frame));
  const mean = limits.reduce((sum, limit) => sum + limit, 0) / frames;
  const once = mostBy(1);
  const values = new Float64Array(frames);
  const products = new Float64Array(LAGS + 1);
  const squares = new Float64Array(LAGS + 1);
  let standing: WorstRegion | null = null;
  let passing: WorstRegion | null = null;
  for (let region = 0; region < of.columns * of.rows; region += 1) {
    let sum = 0;
    products.fill(0);
    squares.fill(0);
    for (let frame = 0; frame < frames; frame += 1) {
      const value = at(frame, of.from + region);
      const square = value * value;
      sum += square;
      values[frame] = value;
      for (let lag = 1; lag <= Math.min(LAGS, frame); lag += 1) {
        products[lag] = (products[lag] as number) + value * (values[frame - lag] as number);
        squares[lag] = (squares[lag] as number) + square;
      }
      const limit = limits[frame] as number;
      if (square > limit * once) passing = worse(passing, { region, frame, error: square, limit });
    }
    if (sum / frames > mean * mostBy(independentOf(frames, products, squares)))
      standing = worse(standing, { region, frame: 0, error: sum / frames, limit: mean });
  }
  return { standing, passing };
}

function worse(known: WorstRegion | null, found: Omit<WorstRegion, 'count'>): WorstRegion {
  const count = (known?.count ?? 0) + 1;
  return known === null || found.error / found.limit > known.error / known.limit
    ? { ...found, count }
    : { ...known, count };
}
