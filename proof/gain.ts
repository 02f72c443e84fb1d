/** Gain and offset between two fingerprints, and how well single frames fit under them. */
import { median, type Pictures } from './pictures.ts';

/** How far from its place a frame is looked for before the whole clip is searched, frames. */
export const REACH = 3;
/** Values of the fingerprints that no measurement resolves (65536 is full scale). */
export const FLOOR = 2;
/** A picture whose cells differ by less than this (root mean square) has nothing in it to correlate. */
export const FLAT = 250;

/** A quarter of the frames in their place are enough to know the levels by. */
function lowerQuartile(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[sorted.length >> 2] ?? 0;
}

export interface Levels {
  readonly gain: number;
  readonly offset: number;
}

/** Least squares over pairs of delivered and source frames; a clip without contrast says nothing of its gain. */
function levelsOver(
  source: Pictures,
  output: Pictures,
  pairs: readonly (readonly [number, number])[],
  promised: Levels,
): Levels {
  const { cells } = source;
  let n = 0;
  let sx = 0;
  let sy = 0;
  let sxx = 0;
  let sxy = 0;
  for (const [frame, other] of pairs) {
    for (let cell = 0; cell < cells; cell += 1) {
      const x = source.values[other * cells + cell] as number;
      const y = output.values[frame * cells + cell] as number;
      n += 1;
      sx += x;
      sy += y;
      sxx += x * x;
      sxy += x * y;
    }
  }
  if (n === 0) return promised;
  const spread = sxx - (sx * sx) / n;
  const gain = spread / n < FLAT * FLAT ? promised.gain : (sxy - (sx * sy) / n) / spread;
  return { gain, offset: (sy - gain * sx) / n };
}

/** What is compared: the pictures of a source and those delivered, with the gain and offset from the first to the second. */
export interface Compared {
  readonly source: Pictures;
  readonly output: Pictures;
  readonly levels: Levels;
}

/** Mean square of output[frame], less `mean`, against source[other]. */
export function energy(
  { source, output, levels: { gain, offset } }: Compared,
  frame: number,
  other: number,
  mean: Float32Array | null = null,
): number {
  const { cells } = source;
  const from = frame * cells;
  const to = other * cells;
  let sum = 0;
  for (let cell = 0; cell < cells; cell += 1) {
    const rest =
      (output.values[from + cell] as number) -
      offset -
      gain * (source.values[to + cell] as number) -
      (mean === null ? 0 : (mean[cell] as number));
    sum += rest * rest;
  }
  return sum / cells;
}

/** Frames that levels are judged by, and how far from the promised gain a fitted one can be believed. */
const JUDGED = 200;
const PLAUSIBLE = 2;

/**
 * Gain and offset that fit most frames: of those over frames in place, of those over frames moved by a few, and of the
 * ones that the profile promises, which hold for a clip that is moved by more. Frames that do not fit are left out.
 */
export function fitLevels(source: Pictures, output: Pictures, promised: Levels): Levels {
  const count = Math.min(source.count, output.count);
  const step = Math.max(1, Math.floor(count / JUDGED));
  const judged = Array.from({ length: Math.ceil(count / step) }, (_, index) => index * step);
  const misfit = (levels: Levels): number =>
    lowerQuartile(judged.map((frame) => nearestTo({ source, output, levels }, frame).energy));
  let best = { levels: promised, misfit: misfit(promised) };
  for (let by = -REACH; by <= REACH; by += 1) {
    const pairs = Array.from({ length: output.count }, (_, frame): readonly [number, number] => [
      frame,
      frame + by,
    ]).filter(([, other]) => other >= 0 && other < source.count);
    let levels = levelsOver(source, output, pairs, promised);
    for (let round = 0; round < 2; round += 1) {
      const compared = { source, output, levels };
      const energies = pairs.map(([frame, other]) => energy(compared, frame, other));
      const limit = 9 * median(energies) + FLOOR * FLOOR;
      levels = levelsOver(
        source,
        output,
        pairs.filter((_, index) => (energies[index] as number) <= limit),
        promised,
      );
    }
    // Pictures that have nothing to do with each other fit best with hardly any gain at all.
    if (levels.gain < promised.gain / PLAUSIBLE || levels.gain > promised.gain * PLAUSIBLE) continue;
    const found = misfit(levels);
    // Frames in place are asked last but one of equals: a draw goes to them.
    if (found < best.misfit * (by === 0 ? 1.001 : 0.999)) best = { levels, misfit: found };
  }
  return best.levels;
}

export interface Nearest {
  readonly other: number;
  readonly energy: number;
}

/** Of the source frames around `centre`, the one that fits best; the frame's own number wins a draw. */
export function nearestTo(
  compared: Compared,
  frame: number,
  centre = frame,
  mean: Float32Array | null = null,
): Nearest {
  const { source } = compared;
  let best: Nearest = {
    other: Math.max(0, Math.min(centre, source.count - 1)),
    energy: Number.POSITIVE_INFINITY,
  };
  for (
    let other = Math.max(0, centre - REACH);
    other <= Math.min(source.count - 1, centre + REACH);
    other += 1
  ) {
    const found = energy(compared, frame, other, mean);
    if (found < best.energy || (found === best.energy && other === frame)) best = { other, energy: found };
  }
  return best;
}
