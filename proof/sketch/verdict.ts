/**
 * What coding lost, by two sketches of a clip: per frame, plane and region, and whether that can be the codec's own. Pure.
 * Every threshold is measured; on what, and what it lets by, is in docs/mechanisms/picture-error.md.
 */
import { mixOf, type Slope } from './mix.ts';
import { type SketchDifferences, type SketchOfOutput, psnrOf, sketchDifferences } from './error.ts';
import type { PictureErrorFault } from './fault.ts';
import { type ErrorSketch, plainPlanes, type SketchPlane } from './form.ts';
import { plainStatistics, type PlainStatistics } from './plain.ts';
import { lossOf, plainFaults, type PlainLimits } from './plain-faults.ts';
import { planeStatistics, type PlaneStatistics, regionStatistics } from './statistics.ts';

/** What a codec can have lost at most, by how coarsely it quantised: mean squared error for a quantiser scale of 1, code values of 8 bits. */
export interface MostLost {
  /** Whatever the quantiser. */
  readonly rounding: number;
  readonly frame: number;
  readonly region: number;
}

/** The quantiser of every frame, read from the file, or what an encoder of the recipe states of its error. */
export type Reference =
  | 'stated'
  | {
      /** Squares of the quantiser's scale, by frame: mean and greatest. */
      readonly mean: readonly number[];
      readonly greatest: readonly number[];
      readonly most: MostLost;
    };

export interface PictureErrorRequest {
  readonly input: ErrorSketch;
  readonly output: SketchOfOutput;
  readonly leastPsnr: number;
  readonly reference: Reference;
  /** How far averages move. */
  readonly plain: PlainLimits;
}

export interface PictureErrorVerdict {
  readonly frames: number;
  /** Mean squared error of each plane of each frame, in code values of 8 bits. */
  readonly errors: Float64Array;
  readonly planes: number;
  readonly peak: number;
  readonly faults: readonly PictureErrorFault[];
}

export const planeNames = ["Y'", 'Cb', 'Cr'] as const;

/** Frames before and after that a frame is held against. */
export const AROUND = 8;
/** Rounding of decoders, and of pictures that cost no bits: mean squared error that nobody needs a reason for. */
const ROUNDING = 1;
/** How much more than the worst of those around a frame may have lost: every frame coded alone, or predicted from others. */
const WORST_AROUND = { intra: 1.25, predicted: 2.2 } as const;
/** Standard deviations that an estimate may be off: one in millions. */
const CERTAIN = 5.5;
/** Part of what an encoder states that its statement may be off, decibels: x264 cuts its own to three digits, and takes 100 for no loss. */
const STATED = 0.2;
/** Of the mean of what rounding adds: a frame's sum of it is never much above. */
const MOST_ROUNDING = 3;
/** A sketch has as many at the least; the encoder too. */
const MOST_PSNR = 100;

/** How often the mean of `count` squares of a normal variable may be its expectation. */
export function mostBy(count: number): number {
  const deviation = Math.sqrt(2 / Math.max(count, 1));
  return 1 + CERTAIN * deviation + ((CERTAIN * deviation) ** 2 * 2) / 9;
}

const decibels = (meanSquare: number, peak: number): string => `${psnrOf(meanSquare, peak).toFixed(1)} dB`;

/** null: not as many frames of one as of the other. */
export function comparePictureError(request: PictureErrorRequest): PictureErrorVerdict | null {
  const { input, output, reference } = request;
  const differences = sketchDifferences(input, output);
  if (differences === null || differences.frames === 0) return null;
  const { frames, planes } = differences;
  if (reference !== 'stated' && reference.mean.length !== frames) return null;
  if (reference === 'stated' && input.stated?.length !== planes.length) return null;
  const plains = plainPlanes(input);
  const statistics = planes.map((plane, number) =>
    planeStatistics(differences, plane, plains[number] as SketchPlane),
  );
  const errors = new Float64Array(frames * planes.length);
  for (const [plane, { errors: own }] of statistics.entries())
    for (let frame = 0; frame < frames; frame += 1)
      errors[frame * planes.length + plane] = own[frame] as number;
  const losses = statistics.map(lossOf);
  const plain = plainStatistics({
    form: input,
    lossOf: (frame, plane) => losses[plane]?.[frame] ?? 0,
    peak: differences.peak,
    input: input.values,
    output: output.values,
  });
  const faults = statistics.flatMap((plane, number) => [
    ...planeFaults(request, differences, plane, number),
    ...plainFaults(
      planeNames[number] ?? `plane ${number}`,
      plain[number] as PlainStatistics,
      {
        loss: losses[number] as Float64Array,
        greatest: reference === 'stated' ? null : reference.greatest,
      },
      request.plain,
    ),
  ]);
  return { frames, errors, planes: planes.length, peak: differences.peak, faults };
}

function planeFaults(
  { input, leastPsnr, reference }: PictureErrorRequest,
  differences: SketchDifferences,
  measured: PlaneStatistics,
  number: number,
): PictureErrorFault[] {
  const plane = planeNames[number] ?? `plane ${number}`;
  const about = { plane, peak: differences.peak, number };
  const floor = floorOf(differences.peak, leastPsnr);
  const statistics = {
    ...measured,
    whole: measured.whole.map((whole, frame) =>
      whole === 1 || (measured.noise[frame] === 1 && (measured.errors[frame] as number) > floor) ? 1 : 0,
    ),
  };
  const faults = [...frameFaults(about, statistics, reference, leastPsnr)];
  if (reference === 'stated') faults.push(...statedFaults(about, statistics, input.stated?.[number] ?? 0));
  else {
    if (!faults.some(({ kind }) => kind === 'stated'))
      faults.push(...clipFaults(about, statistics, reference));
    faults.push(...regionFaults(about, differences, reference));
    faults.push(...mixFaults(about, statistics, mixOf(differences, number), reference.most));
  }
  return faults;
}

/** Mean squared error that a profile allows. */
const floorOf = (peak: number, leastPsnr: number): number => (peak * peak) / 10 ** (leastPsnr / 10);

interface About {
  readonly plane: string;
  readonly peak: number;
  readonly number: number;
}

/** Frames that stand out: above what the quantiser or the profile allows, or against those around. */
function frameFaults(
  { plane, peak }: About,
  { errors, steps, counts, whole }: PlaneStatistics,
  reference: Reference,
  leastPsnr: number,
): PictureErrorFault[] {
  const faults: PictureErrorFault[] = [];
  const floor = floorOf(peak, leastPsnr);
  const worst = { large: new Worst(), stated: new Worst(), frame: new Worst() };
  for (const [frame, error] of errors.entries()) {
    const sure = mostBy(counts[frame] as number);
    const step = Math.max(steps[frame] as number, steps[frame + 1] as number);
    // A picture that changes by more than it lost, from frame to frame, holds more than the codec keeps.
    if (error > floor * sure && error > step) worst.large.take(frame, error, floor);
    if (reference !== 'stated') {
      const most = mostOf(reference, whole, frame);
      if (error > most * sure) worst.stated.take(frame, error, most);
    }
    const around = greatestAround(errors, frame);
    if (around === null) continue;
    const limit =
      (around.greatest * WORST_AROUND[reference === 'stated' ? 'predicted' : 'intra'] + ROUNDING / 2) *
      mostBy(medianAround(counts, frame));
    if (error > limit && !isInsert(steps, frame, error)) worst.frame.take(frame, error, around.greatest);
  }
  const add = (
    kind: PictureErrorFault['kind'],
    { frames, first, error, limit }: Worst,
    than: string,
  ): void => {
    if (frames === 0) return;
    faults.push({
      kind,
      found: `${plane} of ${frames === 1 ? `frame ${first}` : `${frames} frames, first ${first}, worst`}: ${decibels(error, peak)}`,
      expected: `${decibels(limit, peak)} or more, ${than}`,
    });
  };
  add('large', worst.large, 'as the profile asks');
  add('stated', worst.stated, 'by the quantiser that the file was coded with');
  add('frame', worst.frame, 'as the worst of the frames around it');
  return faults;
}

class Worst {
  frames = 0;
  first = 0;
  error = 0;
  limit = 0;
  take(frame: number, error: number, limit: number): void {
    if (this.frames === 0) this.first = frame;
    if (this.frames === 0 || error / limit > this.error / this.limit) {
      this.error = error;
      this.limit = limit;
    }
    this.frames += 1;
  }
}

/** null: too few to say what is usual. */
function greatestAround(values: Float64Array, frame: number): { readonly greatest: number } | null {
  const from = Math.max(0, frame - AROUND);
  const to = Math.min(values.length - 1, frame + AROUND);
  if (to - from < AROUND / 2) return null;
  let greatest = 0;
  for (let at = from; at <= to; at += 1)
    if (at !== frame) greatest = Math.max(greatest, values[at] as number);
  return { greatest };
}

function medianAround(values: Float64Array, frame: number): number {
  const window = [...values.subarray(Math.max(0, frame - AROUND), frame + AROUND + 1)].sort((a, b) => a - b);
  return window[window.length >> 1] ?? 1;
}

/** A picture of its own between others, or the first of a shot that has few: it differs from its neighbours by far more than those from theirs, and by more than it lost. */
function isInsert(steps: Float64Array, frame: number, error: number): boolean {
  const before = steps[frame] as number;
  const after = steps[frame + 1] as number;
  const least = Math.min(before === 0 ? after : before, after === 0 ? before : after);
  let usual = 0;
  for (let at = Math.max(1, frame - AROUND); at < Math.min(steps.length - 1, frame + AROUND + 2); at += 1)
    if (at !== frame && at !== frame + 1) usual = Math.max(usual, steps[at] as number);
  return least > 2 * usual && least > error / 2;
}

/** The mean of all frames against what the encoder says it lost of what it was given. */
function statedFaults(
  { plane, peak }: About,
  statistics: PlaneStatistics,
  stated: number,
): PictureErrorFault[] {
  const { errors, rounding } = statistics;
  const psnr = (error: number): number =>
    error === 0 ? MOST_PSNR : Math.min(MOST_PSNR, psnrOf(error, peak));
  // What the rounding of two sketches can add counts for the file: in a frame of next to no error it is most of what is found.
  const found =
    errors.reduce((sum, error) => sum + psnr(Math.max(0, error - MOST_ROUNDING * rounding)), 0) /
    errors.length;
  const margin = STATED + 10 * Math.log10(mostBy(countOf(statistics)));
  return found < Math.min(stated, MOST_PSNR) - margin
    ? [
        {
          kind: 'stated',
          found: `${plane}: ${found.toFixed(2)} dB in the mean of all frames`,
          expected: `${stated.toFixed(2)} dB, as the encoder states, within ${margin.toFixed(2)}`,
        },
      ]
    : [];
}

/**
 * What the quantiser explains of a frame. Where all blocks are alike, all lose the same, and nothing evens out: there a frame may lose what a region may. So in noise that is too much
 * for the codec: grain of PQ as HLG lost 0.58 of the square of RDD 36 proxy's coarsest scale.
 */
function mostOf({ most, mean }: Exclude<Reference, 'stated'>, whole: Uint8Array, frame: number): number {
  return most.rounding + (whole[frame] === 1 ? most.region : most.frame) * (mean[frame] as number);
}

/** How many numbers a mean over all frames rests on: of each as many as its error is spread over. */
function countOf({ counts, independent }: PlaneStatistics): number {
  return (counts.length * independent) / counts.reduce((sum, count) => sum + 1 / Math.max(count, 1), 0);
}

/** The mean of all frames against what their quantisers explain: surer than any single one. */
function clipFaults(
  { plane, peak }: About,
  statistics: PlaneStatistics,
  reference: Exclude<Reference, 'stated'>,
): PictureErrorFault[] {
  const { errors, whole } = statistics;
  const mean = (values: {
    reduce(sum: (sum: number, value: number) => number, from: number): number;
  }): number => values.reduce((sum, value) => sum + value, 0) / errors.length;
  const error = mean(errors);
  const most = mean(errors.map((_, frame) => mostOf(reference, whole, frame)));
  const sure = mostBy(countOf(statistics));
  return error > most * sure
    ? [
        {
          kind: 'stated',
          found: `${plane}: ${decibels(error, peak)} over all frames`,
          expected: `${decibels(most, peak)} or more, by the quantiser that the file was coded with`,
        },
      ]
    : [];
}

/** Regions that lost more than the quantiser explains: in one frame, or in the mean of all. */
function regionFaults(
  { plane, peak, number }: About,
  differences: SketchDifferences,
  reference: Exclude<Reference, 'stated'>,
): PictureErrorFault[] {
  const { standing, passing } = regionStatistics({
    differences,
    plane: number,
    limitAt: (frame) =>
      reference.most.rounding + reference.most.region * (reference.greatest[frame] as number),
    mostBy,
  });
  const place = (region: number): string => {
    const { columns, rows } = differences.planes[number] as SketchDifferences['planes'][number];
    const column = region % columns;
    const row = Math.floor(region / columns);
    return `${Math.round((100 * (column + 0.5)) / columns)} % from the left and ${Math.round((100 * (row + 0.5)) / rows)} % from the top`;
  };
  const faults: PictureErrorFault[] = [];
  if (standing !== null)
    faults.push({
      kind: 'region',
      found: `${plane}, ${place(standing.region)}, in all frames: ${decibels(standing.error, peak)}${standing.count > 1 ? `, and ${standing.count - 1} regions besides` : ''}`,
      expected: `${decibels(standing.limit, peak)} or more, by the quantiser that the file was coded with`,
    });
  if (passing !== null)
    faults.push({
      kind: 'region',
      found: `${plane} of frame ${passing.frame}, ${place(passing.region)}: ${decibels(passing.error, peak)}${passing.count > 1 ? `, and ${passing.count - 1} regions besides` : ''}`,
      expected: `${decibels(passing.limit, peak)} or more, by the quantiser that the frame was coded with`,
    });
  return faults;
}

/** A part of the frame before or behind that runs through all frames. */
function mixFaults(
  { plane }: About,
  { errors }: PlaneStatistics,
  { value, deviation, energy }: Slope,
  { rounding }: MostLost,
): PictureErrorFault[] {
  const lost = errors.reduce((sum, error) => sum + error, 0) / errors.length;
  // In a picture of one grey, or one that stands still, any slope is next to nothing.
  const matters = value * value * energy > Math.max(rounding / 2, EXPLAINED * lost);
  return matters && Math.abs(value) > LEAST_MIX + CERTAIN * deviation
    ? [
        {
          kind: 'drift',
          found: `${plane}: ${(200 * Math.abs(value)).toFixed(0)} % of the frame ${value > 0 ? 'before' : 'behind'} in every frame`,
          expected: 'each frame alone',
        },
      ]
    : [];
}
/** Of the error, what a slope must explain to be one. */
const EXPLAINED = 0.02;
/** Half of the part of another frame. */
const LEAST_MIX = 0.02;
