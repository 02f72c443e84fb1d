/**
 * Which source frame each delivered frame shows. Pure arithmetic over two trails.
 *
 * What is compared is the residual of a delivered frame against a source frame, both taken through one gain and offset
 * fitted over the whole clip. What a codec does to a still background is the same in every frame: the mean residual of
 * the frames around is taken off, which leaves what belongs to this frame alone. A neighbour is then told from the
 * right frame by projecting what is left on the difference of the two source frames: 0 where the delivered frame is the
 * right one, 1 where it is the neighbour, and between them only where noise hides both.
 */
import { CELLS } from './form.ts';

/** How far a neighbour is looked for before the whole clip is searched, frames. */
export const REACH = 3;
/** Frames before and after whose residuals say what the codec does here. */
const AROUND = 4;
/** Frames before and after over which a usual size of residual is taken. */
const USUAL = 12;
/** Values of the trail that no measurement resolves (65536 is full scale). */
const FLOOR = 2;
/** Source frames whose cells differ by less (root mean square) are one picture to everybody. */
const SAME = 8;
/**
 * Two source frames can be told apart where they differ by this many usual residuals: `own`, what is left of them
 * without the background, and `whole`, with it. A codec of whole pictures errs independently in each frame, and 448
 * cells average that out; one that predicts repeats an older frame's noise for as long as it pays, so that only
 * differences beyond its whole error count. Measured on VC-3, RDD 36 and H.264.
 */
const TELLING = { intra: { own: 1, whole: 0 }, predicted: { own: 2, whole: 1.2 } } as const;
/** And by this many times the noise of the very cells in which they differ, all differences added up. */
const TELLING_CELLS = 4;
/** Work that the search of whole clips for misplaced frames may cost, comparisons of two frames. */
const SEARCH_BUDGET = 4_000_000;
/** Projections: below `right` the frame is the right one, above `wrong` it is the other. */
const RIGHT = 0.5;
const WRONG = 0.6;
/** A residual beyond these is no codec's: times the usual one, plus; and in any case. 256 is one code value of 8 bits. */
const OUTLIER = { times: 6, plus: 80, most: 1000 } as const;
/** The same for the worst cell of a frame, without the background's share. */
const CELL_OUTLIER = { times: 10, plus: 400 } as const;
/** A picture whose cells differ by less than this (root mean square) has nothing in it to correlate. */
export const FLAT = 250;
/** Residual against contrast beyond which two pictures have nothing to do with each other: a correlation below 0.87. */
const UNRELATED = 0.5;

export type Coding = keyof typeof TELLING;

export interface FrameMatch {
  /** `right`: proved. `untold`: it is the source's picture, but neighbours cannot be told from it. `wrong`: another picture. `damaged`: right, but for a part of it. */
  readonly state: 'right' | 'untold' | 'wrong' | 'damaged';
  /** Source frame that it shows; null when it shows none of this clip. */
  readonly shows: number | null;
  /** Root mean square residual against the frame that it should be, in values of the trail. */
  readonly residual: number;
}

export interface Matching {
  readonly gain: number;
  readonly offset: number;
  readonly frames: readonly FrameMatch[];
}

/** Seen cells of one trail, frame by frame. */
export class Pictures {
  readonly values: Float32Array;
  readonly count: number;
  readonly cells: number;
  constructor(luma: Uint16Array, views: number, view: number, seen: Uint8Array) {
    const at = [...seen.keys()].filter((cell) => seen[cell] === 1);
    this.cells = at.length;
    this.count = Math.floor(luma.length / (CELLS * views));
    this.values = new Float32Array(this.count * this.cells);
    for (let frame = 0; frame < this.count; frame += 1) {
      const from = (frame * views + view) * CELLS;
      for (let cell = 0; cell < this.cells; cell += 1) this.values[frame * this.cells + cell] = luma[from + (at[cell] as number)] as number;
    }
  }
  /** Root mean square difference of the cells from their mean. */
  contrast(frame: number): number {
    let sum = 0;
    let squares = 0;
    for (let at = frame * this.cells; at < (frame + 1) * this.cells; at += 1) {
      const value = this.values[at] as number;
      sum += value;
      squares += value * value;
    }
    return Math.sqrt(Math.max(0, squares / this.cells - (sum / this.cells) ** 2));
  }
  mean(frame: number): number {
    let sum = 0;
    for (let at = frame * this.cells; at < (frame + 1) * this.cells; at += 1) sum += this.values[at] as number;
    return sum / this.cells;
  }
}

export function median(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[sorted.length >> 1] ?? 0;
}

/** A quarter of the frames in their place are enough to know the levels by. */
function lowerQuartile(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[sorted.length >> 2] ?? 0;
}

export interface Levels {
  readonly gain: number;
  readonly offset: number;
}

/** Least squares over pairs of delivered and source frames; a clip without contrast keeps its gain. */
function fit(source: Pictures, output: Pictures, pairs: readonly (readonly [number, number])[]): Levels {
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
  if (n === 0) return { gain: 1, offset: 0 };
  const spread = sxx - (sx * sx) / n;
  const gain = spread / n < FLAT * FLAT ? 1 : (sxy - (sx * sy) / n) / spread;
  return { gain, offset: (sy - gain * sx) / n };
}

/** Mean square of output[frame], less `mean`, against source[other]. */
function energy(source: Pictures, output: Pictures, { gain, offset }: Levels, frame: number, other: number, mean: Float32Array | null = null): number {
  const { cells } = source;
  const from = frame * cells;
  const to = other * cells;
  let sum = 0;
  for (let cell = 0; cell < cells; cell += 1) {
    const rest = (output.values[from + cell] as number) - offset - gain * (source.values[to + cell] as number) - (mean === null ? 0 : (mean[cell] as number));
    sum += rest * rest;
  }
  return sum / cells;
}

/** Running medians over the frames around. */
function usual(values: readonly number[]): number[] {
  return values.map((_, frame) => median(values.slice(Math.max(0, frame - USUAL), frame + USUAL + 1)));
}

/** Frames that levels are judged by, and how far from the promised gain a fitted one can be believed. */
const JUDGED = 200;
const PLAUSIBLE = 2;

/**
 * Gain and offset that fit most frames: of those over frames in place, of those over frames moved by a few, and of the
 * ones that the profile promises, which hold for a clip that is moved by more. Frames that do not fit are left out.
 */
function fitLevels(source: Pictures, output: Pictures, promised: Levels): Levels {
  const count = Math.min(source.count, output.count);
  const step = Math.max(1, Math.floor(count / JUDGED));
  const judged = Array.from({ length: Math.ceil(count / step) }, (_, index) => index * step);
  const misfit = (levels: Levels): number => lowerQuartile(judged.map((frame) => nearestTo(source, output, levels, frame).energy));
  let best = { levels: promised, misfit: misfit(promised) };
  for (let by = -REACH; by <= REACH; by += 1) {
    const pairs = Array.from({ length: output.count }, (_, frame): readonly [number, number] => [frame, frame + by]).filter(([, other]) => other >= 0 && other < source.count);
    let levels = fit(source, output, pairs);
    for (let round = 0; round < 2; round += 1) {
      const energies = pairs.map(([frame, other]) => energy(source, output, levels, frame, other));
      const limit = 9 * median(energies) + FLOOR * FLOOR;
      levels = fit(source, output, pairs.filter((_, index) => (energies[index] as number) <= limit));
    }
    // Pictures that have nothing to do with each other fit best with hardly any gain at all.
    if (levels.gain < promised.gain / PLAUSIBLE || levels.gain > promised.gain * PLAUSIBLE) continue;
    const found = misfit(levels);
    // Frames in place are asked last but one of equals: a draw goes to them.
    if (found < best.misfit * (by === 0 ? 1.001 : 0.999)) best = { levels, misfit: found };
  }
  return best.levels;
}

interface Nearest {
  readonly other: number;
  readonly energy: number;
}

/** Of the source frames around `centre`, the one that fits best; the frame's own number wins a draw. */
function nearestTo(source: Pictures, output: Pictures, levels: Levels, frame: number, centre = frame, mean: Float32Array | null = null): Nearest {
  let best: Nearest = { other: Math.max(0, Math.min(centre, source.count - 1)), energy: Number.POSITIVE_INFINITY };
  for (let other = Math.max(0, centre - REACH); other <= Math.min(source.count - 1, centre + REACH); other += 1) {
    const found = energy(source, output, levels, frame, other, mean);
    if (found < best.energy || (found === best.energy && other === frame)) best = { other, energy: found };
  }
  return best;
}

/** Of frames around whose residual is usual: the mean, cell by cell. */
function background(residuals: Float32Array, cells: number, count: number, frame: number, good: (frame: number) => boolean): Float32Array {
  const mean = new Float32Array(cells);
  let taken = 0;
  for (let other = Math.max(0, frame - AROUND); other <= Math.min(count - 1, frame + AROUND); other += 1) {
    if (other === frame || !good(other)) continue;
    taken += 1;
    for (let cell = 0; cell < cells; cell += 1) mean[cell] = (mean[cell] as number) + (residuals[other * cells + cell] as number);
  }
  if (taken > 0) for (let cell = 0; cell < cells; cell += 1) mean[cell] = (mean[cell] as number) / taken;
  return mean;
}

/** `promised`: gain and offset that the profile's own conversion gives. */
export function matchFrames(source: Pictures, output: Pictures, coding: Coding, promised: Levels): Matching {
  const { cells } = source;
  if (cells === 0 || source.count === 0) return { gain: 1, offset: 0, frames: [] };
  const levels = fitLevels(source, output, promised);
  const { gain, offset } = levels;

  const near = Array.from({ length: output.count }, (_, frame) => nearestTo(source, output, levels, frame));
  const size = near.map((one) => Math.sqrt(one.energy));
  const usualSize = usual(size);
  const middle = median(size);
  const isOutlier = (frame: number, found: number): boolean => {
    const reference = Math.min(usualSize[frame] as number, 4 * middle + FLOOR);
    if (found > Math.min(OUTLIER.times * reference + OUTLIER.plus, OUTLIER.most)) return true;
    const contrast = Math.max(output.contrast(frame), frame < source.count ? Math.abs(gain) * source.contrast(frame) : 0);
    return contrast > FLAT && found > UNRELATED * contrast;
  };
  const good = (frame: number): boolean => !isOutlier(frame, size[frame] as number);

  const residuals = new Float32Array(output.count * cells);
  near.forEach(({ other }, frame) => {
    for (let cell = 0; cell < cells; cell += 1) residuals[frame * cells + cell] = (output.values[frame * cells + cell] as number) - offset - gain * (source.values[other * cells + cell] as number);
  });
  const rests = new Float32Array(output.count * cells);
  const own: number[] = [];
  const worst: number[] = [];
  for (let frame = 0; frame < output.count; frame += 1) {
    const mean = background(residuals, cells, output.count, frame, good);
    let sum = 0;
    let most = 0;
    for (let cell = 0; cell < cells; cell += 1) {
      const rest = (residuals[frame * cells + cell] as number) - (mean[cell] as number);
      rests[frame * cells + cell] = rest;
      sum += rest * rest;
      most = Math.max(most, Math.abs(rest));
    }
    own.push(Math.sqrt(sum / cells));
    worst.push(most);
  }
  const usualOwn = usual(own);
  const usualWorst = usual(worst);

  let budget = SEARCH_BUDGET;
  let lastShift = 0;
  /** The frame that fits best, the background's share taken off; null when not even that one fits. Near where the frame before was found, else in the whole clip. */
  const shownBy = (frame: number, mean: Float32Array): number | null => {
    const fits = (other: number): boolean => !isOutlier(frame, Math.sqrt(energy(source, output, levels, frame, other)));
    const guess = nearestTo(source, output, levels, frame, frame + lastShift, mean);
    let best = guess;
    if (budget >= source.count) {
      budget -= source.count;
      for (let other = 0; other < source.count; other += 1) {
        const found = energy(source, output, levels, frame, other, mean);
        if (found < best.energy) best = { other, energy: found };
      }
    }
    if (!fits(best.other)) return null;
    lastShift = best.other - frame;
    return best.other;
  };

  const frames = near.map((_, frame): FrameMatch => {
    const residual = frame < source.count ? Math.sqrt(energy(source, output, levels, frame, frame)) : Number.POSITIVE_INFINITY;
    const mean = background(residuals, cells, output.count, frame, good);
    if (frame >= source.count || isOutlier(frame, residual)) return { state: 'wrong', shows: shownBy(frame, mean), residual };
    const noise = { own: Math.max(usualOwn[frame] as number, FLOOR), whole: usualSize[frame] as number, cells: rests.subarray(frame * cells, (frame + 1) * cells) };
    const told = tell(source, output, levels, frame, mean, noise, coding);
    if (told === 'wrong') {
      const shows = shownBy(frame, mean);
      return { state: shows === frame ? 'untold' : 'wrong', shows, residual };
    }
    if ((worst[frame] as number) > CELL_OUTLIER.times * (usualWorst[frame] as number) + CELL_OUTLIER.plus) return { state: 'damaged', shows: frame, residual };
    return { state: told, shows: frame, residual };
  });
  return { gain, offset, frames };
}

interface Noise {
  /** Usual sizes of residuals around here, root mean square: without the background, and with it. */
  readonly own: number;
  readonly whole: number;
  /** What is left of this frame's own residual, cell by cell. */
  readonly cells: Float32Array;
}

/** One delivered frame against the neighbours of the frame that it should be. */
function tell(source: Pictures, output: Pictures, { gain, offset }: Levels, frame: number, mean: Float32Array, noise: Noise, coding: Coding): 'right' | 'untold' | 'wrong' {
  const { cells } = source;
  const least = Math.max(SAME, TELLING[coding].own * noise.own, TELLING[coding].whole * noise.whole);
  let state: 'right' | 'untold' = 'right';
  for (let other = Math.max(0, frame - REACH); other <= Math.min(source.count - 1, frame + REACH); other += 1) {
    if (other === frame) continue;
    let squares = 0;
    let product = 0;
    let noisy = 0;
    for (let cell = 0; cell < cells; cell += 1) {
      const should = gain * (source.values[frame * cells + cell] as number);
      const step = gain * (source.values[other * cells + cell] as number) - should;
      squares += step * step;
      noisy += (step * (noise.cells[cell] as number)) ** 2;
      product += step * ((output.values[frame * cells + cell] as number) - offset - should - (mean[cell] as number));
    }
    // Root of squares over the noise in their direction: how many times a whole step stands above the noise in it.
    const telling = Math.sqrt(squares / cells) >= least && squares >= TELLING_CELLS * Math.sqrt(noisy);
    const along = squares > 0 ? product / squares : 0;
    if (telling && along > WRONG) return 'wrong';
    if (Math.abs(other - frame) === 1 && (!telling || along > RIGHT)) state = 'untold';
  }
  return state;
}
