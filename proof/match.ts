/**
 * Which source frame each delivered frame shows. Pure arithmetic over two fingerprints.
 *
 * What is compared is the residual of a delivered frame against a source frame, both taken through one gain and offset
 * fitted over the whole clip. What a codec does to a still background is the same in every frame: the mean residual of
 * the frames around is taken off, which leaves what belongs to this frame alone. A neighbour is then told from the
 * right frame by projecting what is left on the difference of the two source frames: 0 where the delivered frame is the
 * right one, 1 where it is the neighbour, and between them only where noise hides both.
 */
import {
  type Compared,
  energy,
  FLAT,
  fitLevels,
  FLOOR,
  type Levels,
  type Nearest,
  nearestTo,
  REACH,
} from './gain.ts';
import { median, type Pictures } from './pictures.ts';

/** Frames before and after whose residuals say what the codec does here. */
const NEIGHBOUR_FRAMES = 4;
/** Frames before and after over which a usual size of residual is taken. */
const USUAL = 12;
/** Of those the ones whose source frame has at least this part of the contrast of this frame's. */
const ALIKE = 0.5;
/**
 * Source frames whose cells differ by less (root mean square; 256 is one code value of 8 bits) are one picture: to everybody, and to a codec that predicts, which leaves out
 * what it likes of such steps. A source next to black, itself of such a codec, changes its grain by a sixth of a code value with every key frame, and H.264 at quality 21 keeps the older grain.
 */
const MAX_STEP_OF_EQUALS = { intra: 8, predicted: 64 } as const;
/**
 * Two source frames can be told apart where they differ by this many usual residuals: `own`, what is left of them
 * without the background, and `whole`, with it. A codec of whole pictures errs independently in each frame, and 448
 * cells average that out; one that predicts repeats what an older frame looked like for as long as it pays and lags
 * behind a slow fade by two or three frames, so that only differences well beyond its whole error count. Measured on
 * VC-3, RDD 36 and H.264.
 */
const MIN_STEP = { intra: { own: 1, whole: 0 }, predicted: { own: 2, whole: 2 } } as const;
/**
 * What a codec does to a picture that changes slowly (a pull of focus, a zoom) may look like the change itself: it takes detail away, as the focus does. Steps of this many whole
 * residuals are larger than that; smaller ones count only where they also stand out from the residuals of the frames around,
 * each against its own frame, as grain does.
 */
const DRIFT = 1.5;
/** So many whole residuals a frame may lie towards another for it. In pulls of focus in VC-3 that are intact: 1.15, of a step of 1.88. */
const MAX_DRIFT = 1.3;
/** And by so many times what is left of them without the background: a pull of focus in VC-3 that is intact lies up to 0.8 of a step of 1.02 times that beside its place, and 0.66 of one of 1.74. */
const STANDS_OUT = 2;
/** And by this many times the noise of the very cells in which they differ, all differences added up. */
const TELLING_CELLS = 4;
/** Work that the search of whole clips for misplaced frames may cost, comparisons of two frames. */
const SEARCH_BUDGET = 4_000_000;
/** Projections: below `right` the frame is the right one, above `wrong` it is the other. */
const RIGHT = 0.5;
const WRONG = { intra: 0.6, predicted: 0.75 } as const;
/**
 * A picture of grain has something that no other one has: how far from that a delivered frame lies towards the mean of the frames around. Intact frames
 * lie below 0.3; those of other grain at 0.9 to 1, and halfway to every frame but their own; what is finer than a step of 8 bits in a flat surface is
 * rounded away, and such a frame lies at up to 0.81 and 0.66 of the way to a neighbour.
 */
const MAX_LOSS_INTACT = 0.4;
const MIN_LOSS_MISSING = 0.85;
/** Beyond this it is the one that fits best in the whole clip. */
const ANOTHER = 0.8;
/** A residual beyond these is no codec's: times the usual one, plus; and in any case. 256 is one code value of 8 bits. Deinterlacing invents lines. */
const OUTLIER = {
  frames: { times: 6, plus: 80, most: 1000 },
  fields: { times: 8, plus: 300, most: 3000 },
} as const;
/** Beyond these a frame is not called proved, though it may be intact. */
const UNUSUAL = { times: 2.5, plus: 40 } as const;
/** The same for the worst cell of a frame, without the background's share. The first of deinterlaced frames has no earlier one to be made of. */
const CELL_OUTLIER = { times: 10, plus: { frames: 400, fields: 4000 } } as const;
/** Residual against contrast beyond which two pictures have nothing to do with each other (a correlation below 0.8), where there is enough contrast to say so. */
const UNRELATED = 0.6;
const CONTRAST = 600;

export type Coding = keyof typeof MIN_STEP;

export interface FrameMatch {
  /** `right`: proved. `unproven`: nothing speaks against it, but neighbours cannot be told from it, or it is less like the source than others around. `wrong`: another picture. `damaged`: right, but for a part of it. */
  readonly state: 'right' | 'unproven' | 'wrong' | 'damaged';
  /** Source frame that it shows; null when it shows none of this clip. */
  readonly shows: number | null;
  /** Root mean square residual against the frame that it should be, in values of the fingerprints. */
  readonly residual: number;
}

export interface Matching {
  readonly gain: number;
  readonly offset: number;
  readonly frames: readonly FrameMatch[];
}

/** Running medians over the frames around; `alike`: whose pictures say something of this one. */
function usual(values: readonly number[], alike: (frame: number, other: number) => boolean): number[] {
  const all = [...values.keys()];
  return values.map((_, frame) =>
    median(
      all
        .slice(Math.max(0, frame - USUAL), frame + USUAL + 1)
        .filter((other) => alike(frame, other))
        .map((other) => values[other] as number),
    ),
  );
}

/** Of frames around whose residual is usual: the mean, cell by cell. */
function background(
  residuals: Float32Array,
  { cells, count }: Pick<Pictures, 'cells' | 'count'>,
  frame: number,
  good: (frame: number) => boolean,
): Float32Array {
  const mean = new Float32Array(cells);
  let taken = 0;
  for (
    let other = Math.max(0, frame - NEIGHBOUR_FRAMES);
    other <= Math.min(count - 1, frame + NEIGHBOUR_FRAMES);
    other += 1
  ) {
    if (other === frame || !good(other)) continue;
    taken += 1;
    for (let cell = 0; cell < cells; cell += 1)
      mean[cell] = (mean[cell] as number) + (residuals[other * cells + cell] as number);
  }
  if (taken > 0) for (let cell = 0; cell < cells; cell += 1) mean[cell] = (mean[cell] as number) / taken;
  return mean;
}

export interface MatchRequest {
  readonly source: Pictures;
  readonly output: Pictures;
  /** How the delivered pictures are coded. */
  readonly coding: Coding;
  /** Gain and offset that the profile's own conversion gives. */
  readonly promised: Levels;
  /** Of what each delivered frame was made. */
  readonly made: 'frames' | 'fields';
}

export function matchFrames({ source, output, coding, promised, made }: MatchRequest): Matching {
  const { cells } = source;
  if (cells === 0 || source.count === 0) return { gain: 1, offset: 0, frames: [] };
  const levels = fitLevels(source, output, promised);
  const { gain, offset } = levels;
  const compared: Compared = { source, output, levels };

  const near = Array.from({ length: output.count }, (_, frame) => nearestTo(compared, frame));
  const size = near.map((one) => Math.sqrt(one.energy));
  // A codec errs by what there is in a picture: frames that have faded to nothing do not say what is usual of a full one.
  const contrast = Array.from({ length: output.count }, (_, frame) =>
    source.contrast(Math.min(frame, source.count - 1)),
  );
  const alike = (frame: number, other: number): boolean =>
    (contrast[other] as number) >= ALIKE * (contrast[frame] as number);
  const usualSize = usual(size, alike);
  const full = size.filter((_, frame) => (contrast[frame] as number) >= FLAT);
  const middle = median(full.length > 0 ? full : size);
  const beyond = OUTLIER[made];
  const isOutlier = (frame: number, found: number): boolean => {
    const reference = Math.min(usualSize[frame] as number, 4 * middle + FLOOR);
    if (found > Math.min(beyond.times * reference + beyond.plus, beyond.most)) return true;
    const most = Math.max(
      output.contrast(frame),
      frame < source.count ? Math.abs(gain) * source.contrast(frame) : 0,
    );
    return most > CONTRAST && found > UNRELATED * most;
  };
  const good = (frame: number): boolean => !isOutlier(frame, size[frame] as number);

  const against = (otherOf: (frame: number) => number): Float32Array => {
    const residuals = new Float32Array(output.count * cells);
    for (let frame = 0; frame < output.count; frame += 1) {
      const other = otherOf(frame);
      for (let cell = 0; cell < cells; cell += 1)
        residuals[frame * cells + cell] =
          (output.values[frame * cells + cell] as number) -
          offset -
          gain * (source.values[other * cells + cell] as number);
    }
    return residuals;
  };
  /** Against the frames that fit best, and against those that should be there. */
  const residuals = against((frame) => (near[frame] as Nearest).other);
  const inPlace = against((frame) => Math.min(frame, source.count - 1));
  const rests = new Float32Array(output.count * cells);
  const own: number[] = [];
  const worst: number[] = [];
  for (let frame = 0; frame < output.count; frame += 1) {
    const mean = background(residuals, output, frame, good);
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
  const usualOwn = usual(own, alike);
  const usualWorst = usual(worst, alike);

  let budget = SEARCH_BUDGET;
  let lastShift = 0;
  /** The frame that fits best, the background's share taken off; null when not even that one fits. Near where the frame before was found, else in the whole clip. */
  const shownBy = (frame: number, mean: Float32Array): number | null => {
    const fits = (other: number): boolean => !isOutlier(frame, Math.sqrt(energy(compared, frame, other)));
    const guess = nearestTo(compared, frame, frame + lastShift, mean);
    let best = guess;
    if (budget >= source.count) {
      budget -= source.count;
      for (let other = 0; other < source.count; other += 1) {
        const found = energy(compared, frame, other, mean);
        if (found < best.energy) best = { other, energy: found };
      }
    }
    if (!fits(best.other)) return null;
    lastShift = best.other - frame;
    return best.other;
  };

  const frames = near.map((_, frame): FrameMatch => {
    const residual =
      frame < source.count ? Math.sqrt(energy(compared, frame, frame)) : Number.POSITIVE_INFINITY;
    const mean = background(residuals, output, frame, good);
    if (frame >= source.count || isOutlier(frame, residual)) {
      const shows = shownBy(frame, mean);
      const isPart =
        shows === null &&
        frame < source.count &&
        mostFits(compared, frame, 2 * (usualSize[frame] as number) + beyond.plus);
      return isPart ? { state: 'damaged', shows: frame, residual } : { state: 'wrong', shows, residual };
    }
    const noise: Noise = {
      own: Math.max(usualOwn[frame] as number, FLOOR),
      whole: usualSize[frame] as number,
      cells: rests.subarray(frame * cells, (frame + 1) * cells),
    };
    const around: Surroundings = {
      noise,
      means: { best: mean, inPlace: background(inPlace, output, frame, good) },
    };
    const reported = judgeFrame(compared, frame, around, coding);
    if (reported === 'wrong') {
      const shows = shownBy(frame, mean);
      return { state: shows === frame ? 'unproven' : 'wrong', shows, residual };
    }
    if (reported === 'lacking') {
      // A codec may have taken it away; or it is another frame, however far from here.
      const shows = shownBy(frame, mean);
      const isOther =
        shows !== null &&
        shows !== frame &&
        leaning(compared, frame, ofFrame(source, shows), around).towards > ANOTHER;
      if (isOther) return { state: 'wrong', shows, residual };
    }
    if (
      (worst[frame] as number) >
      CELL_OUTLIER.times * (usualWorst[frame] as number) + CELL_OUTLIER.plus[made]
    )
      return { state: 'damaged', shows: frame, residual };
    // Not far enough from the usual to be another picture, and too far to be called proved.
    const unusual = residual > UNUSUAL.times * (usualSize[frame] as number) + UNUSUAL.plus;
    return { state: unusual || reported === 'lacking' ? 'unproven' : reported, shows: frame, residual };
  });
  return { gain, offset, frames };
}

/** Whether all but a quarter of the cells are what they should be: then a part is damaged, and it is no other picture. */
function mostFits(
  { source, output, levels: { gain, offset } }: Compared,
  frame: number,
  limit: number,
): boolean {
  const { cells } = source;
  if (source.contrast(frame) < FLAT) return false;
  const rests = Array.from({ length: cells }, (_, cell) =>
    Math.abs(
      (output.values[frame * cells + cell] as number) -
        offset -
        gain * (source.values[frame * cells + cell] as number),
    ),
  ).sort((a, b) => a - b);
  return (rests[Math.floor(0.75 * cells)] as number) <= limit;
}

interface Noise {
  /** Usual sizes of residuals around here, root mean square: without the background, and with it. */
  readonly own: number;
  readonly whole: number;
  /** What is left of this frame's own residual, cell by cell. */
  readonly cells: Float32Array;
}

interface Means {
  /** Of the residuals of frames around, against the frames that fit best, and against those that should be there. */
  readonly best: Float32Array;
  readonly inPlace: Float32Array;
}

interface Surroundings {
  readonly noise: Noise;
  readonly means: Means;
}

/** How far a delivered frame lies from the one that it should be towards `target`, values of a source frame cell by cell: 0 at the first, 1 at the second. */
interface Leaning {
  /** Between the two, root mean square. */
  readonly step: number;
  readonly towards: number;
  readonly towardsInPlace: number;
  /** The whole step stands above the noise in its direction. */
  readonly clear: boolean;
}

function leaning(
  { source, output, levels: { gain, offset } }: Compared,
  frame: number,
  target: (cell: number) => number,
  { means, noise }: Surroundings,
): Leaning {
  const { cells } = source;
  let squares = 0;
  let product = 0;
  let productInPlace = 0;
  let noisy = 0;
  for (let cell = 0; cell < cells; cell += 1) {
    const should = gain * (source.values[frame * cells + cell] as number);
    const step = gain * target(cell) - should;
    squares += step * step;
    noisy += (step * (noise.cells[cell] as number)) ** 2;
    const rest = (output.values[frame * cells + cell] as number) - offset - should;
    product += step * (rest - (means.best[cell] as number));
    productInPlace += step * (rest - (means.inPlace[cell] as number));
  }
  const part = (value: number): number => (squares > 0 ? value / squares : 0);
  return {
    step: Math.sqrt(squares / cells),
    towards: part(product),
    towardsInPlace: part(productInPlace),
    clear: squares >= TELLING_CELLS * Math.sqrt(noisy),
  };
}

/** Energy of the delivered frame against `target`, the share of the frames around taken off. */
function leftOver(
  { source, output, levels: { gain, offset } }: Compared,
  frame: number,
  target: (cell: number) => number,
  { means }: Surroundings,
): number {
  const { cells } = source;
  let sum = 0;
  for (let cell = 0; cell < cells; cell += 1)
    sum +=
      ((output.values[frame * cells + cell] as number) -
        offset -
        gain * target(cell) -
        (means.best[cell] as number)) **
      2;
  return sum / cells;
}

const ofFrame =
  ({ values, cells }: Pictures, frame: number) =>
  (cell: number): number =>
    values[frame * cells + cell] as number;

/** The mean of the frames around, without the frame itself: what a picture has that no other has is what it differs from this in. */
function meanAround(source: Pictures, frame: number): Float32Array {
  const { cells, values } = source;
  const mean = new Float32Array(cells);
  const others = neighbours(source, frame);
  for (const other of others)
    for (let cell = 0; cell < cells; cell += 1)
      mean[cell] = (mean[cell] as number) + (values[other * cells + cell] as number) / others.length;
  return mean;
}

function neighbours({ count }: Pictures, frame: number): number[] {
  const others: number[] = [];
  for (let other = Math.max(0, frame - REACH); other <= Math.min(count - 1, frame + REACH); other += 1)
    if (other !== frame) others.push(other);
  return others;
}

/**
 * One delivered frame against the neighbours of the frame that it should be, and against its own. `lacking`: nothing is left in it of what only that
 * one has.
 */
function judgeFrame(
  compared: Compared,
  frame: number,
  around: Surroundings,
  coding: Coding,
): 'right' | 'unproven' | 'wrong' | 'lacking' {
  const { source } = compared;
  const { noise } = around;
  const least = Math.max(
    MAX_STEP_OF_EQUALS[coding],
    MIN_STEP[coding].own * noise.own,
    MIN_STEP[coding].whole * noise.whole,
  );
  const mean = meanAround(source, frame);
  const own = leaning(compared, frame, (cell) => mean[cell] as number, around);
  // One that predicts leaves out what is a frame's own as long as it pays.
  const hasOwn = own.step >= (coding === 'predicted' ? least : MAX_STEP_OF_EQUALS.intra) && own.clear;
  /** One that predicts may have kept what older frames looked like: nothing of this frame's own, and nothing of the other's either. */
  const fitsBetterThanMean = (other: number): boolean =>
    coding === 'intra' ||
    leftOver(compared, frame, ofFrame(source, other), around) <
      leftOver(compared, frame, (cell) => mean[cell] as number, around);
  const isLacking = hasOwn && Math.min(own.towards, own.towardsInPlace) > MIN_LOSS_MISSING;
  let state: 'right' | 'unproven' =
    hasOwn && Math.max(own.towards, own.towardsInPlace) > MAX_LOSS_INTACT ? 'unproven' : 'right';
  for (const other of neighbours(source, frame)) {
    const { step, towards, towardsInPlace, clear } = leaning(compared, frame, ofFrame(source, other), around);
    const distinctive = step >= least && clear;
    const standsOut =
      (step >= STANDS_OUT * noise.own || (isLacking && towards > ANOTHER)) && towardsInPlace > WRONG[coding];
    if (
      distinctive &&
      towards > WRONG[coding] &&
      ((step >= DRIFT * noise.whole && towards * step >= MAX_DRIFT * noise.whole) || standsOut) &&
      fitsBetterThanMean(other)
    )
      return 'wrong';
    if (Math.abs(other - frame) === 1 && (!distinctive || towards > RIGHT)) state = 'unproven';
  }
  return isLacking ? 'lacking' : state;
}
