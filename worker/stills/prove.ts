/**
 * What pixels of a still must be, found again by other means than its maker's: the frame is decoded once more, alone, or developed by the references of the
 * kernels, and goes its way in double precision. Both take the table of a colour way from one building of it, as the proof of every movie does.
 */
import {
  codedForSrgb,
  drawnPlaces,
  squareOf,
  type StillDifference,
  stillDifference,
} from '../../check/stills/pixels.ts';
import type { ReadStill } from '../../check/stills/png.ts';
import { sceneLinearOf } from '../../check/master/scene-linear.ts';
import { codedPlace } from '../../check/orientation.ts';
import { orientationOfClip } from '../clip-orientation.ts';
import type { Job } from '../../ledger/job.ts';
import { isSiting } from '../../media/colour/siting.ts';
import { earlierField } from '../../media/facts.ts';
import { readTransform } from '../../ledger/transform.ts';
import { SHOWN_BITS } from '../../media/colour/acescct.ts';
import { layoutOf } from '../../media/colour/formats.ts';
import type { Triple } from '../../media/colour/matrix.ts';
import { codeRgbAt, type SourcePicture } from '../../media/colour/pixel.ts';
import { SCALED_END } from '../../media/colour/shown/table.ts';
import { lookUp, type SpaceTable } from '../../proof/colour-way/look-up.ts';
import type { Spot } from '../../proof/pixel-samples.ts';
import { exactRgb14 } from '../../proof/whole-codes.ts';
import type { StillsOutcome } from '../../profiles/stills/schema.ts';
import { bakedWay } from '../colour-way.ts';
import type { MakingContext } from '../context.ts';
import { spotsOf } from '../master/spots.ts';
import { wholeOfFields } from '../master/whole-of-fields.ts';
import { framesAhead, type FramesAhead } from './frames-ahead.ts';

export type StillProof = StillDifference | { readonly why: string };

export interface StillProver {
  prove(at: number, read: ReadStill): Promise<StillProof>;
}

interface Place {
  readonly x: number;
  readonly y: number;
}
type Planes = readonly [Float64Array, Float64Array, Float64Array];

/** C of libswscale's cubic, by which ffmpeg interpolates chroma (its default for `bicubic`). With 0.5 in its place, noise in colour was off by up to 5 steps, and as log by 27. */
const SCALER_CUBIC = 0.6;
/** The greatest code. */
const MOST = 2 ** SHOWN_BITS - 1;

const planesOf = (count: number): Planes => [
  new Float64Array(count),
  new Float64Array(count),
  new Float64Array(count),
];

/** Places of a still of which all pixels are known, and their codes of the display, 0 to 1, square by square. */
interface Known {
  readonly places: readonly Place[];
  readonly codes: Planes;
}

export function stillProver(job: Job, outcome: StillsOutcome, context: MakingContext): StillProver {
  const { shown } = outcome;
  let spots: Promise<Spot[]> | undefined;
  let recorded: ReturnType<typeof sourceOf> | undefined;
  let ahead: FramesAhead | undefined;
  return {
    async prove(at, read) {
      const frame = outcome.stills[at]?.frame;
      if (frame === undefined) throw new RangeError(`still ${at} of ${outcome.stills.length}`);
      const table = shown === null ? null : (await bakedWay(job.deliveryFolder, shown)).table;
      if (shown?.from === 'developed') {
        spots ??= spotsFor(job, outcome, context);
        const spot = (await spots).find((one) => one.frame === frame);
        if (spot === undefined || table === null) return { why: 'the frame is not found a second time' };
        return compared(outcome, read, knownOfSpot(spot, outcome, table));
      }
      recorded ??= sourceOf(job, outcome);
      const { source, placeOf } = await recorded;
      ahead ??= framesAhead({
        job,
        frames: outcome.stills.map((still) => still.frame),
        graph: '[in]null[out]',
        bytes: layoutOf(source.pixelFormat, source.width, source.height).bytes,
        ...context,
      });
      const found = await ahead.take(frame);
      if ('why' in found) return found;
      const places = drawnPlaces(outcome, `${job.clip.contentDigest} ${frame}`);
      // The still was made of this frame alone, as the first of a movie.
      const pictures =
        earlierField(job.facts.video) === null
          ? [found.picture]
          : wholeOfFields(job.facts.video, found.picture, { at: 0, count: 1, isFirst: true });
      return pictures
        .map((picture) => {
          const rgbAt = (x: number, y: number): Triple => {
            const at = placeOf(x, y);
            return codeRgbAt(source, picture, at.x, at.y);
          };
          return compared(outcome, read, knownOfCodes(places, outcome, rgbAt, table));
        })
        .reduce((best, one) => (one.farthest < best.farthest ? one : best));
    },
  };
}

function compared(outcome: StillsOutcome, read: ReadStill, { places, codes }: Known): StillDifference {
  const curve = outcome.recorded?.curve ?? 'bt1886';
  let first = 0;
  const wanted = places.map((place): Triple => {
    const square = squareOf(outcome, place);
    const whole = square.reduce((sum, { part }) => sum + part, 0);
    const mean = (plane: Float64Array): number =>
      square.reduce((sum, { part }, at) => sum + part * codedForSrgb(plane[first + at] as number, curve), 0) /
      whole;
    const means: Triple = [mean(codes[0]), mean(codes[1]), mean(codes[2])];
    first += square.length;
    return means;
  });
  return stillDifference(read, places, wanted);
}

/** Whole codes through the table, to codes of the display. */
function throughTable(planes: Planes, table: SpaceTable): void {
  for (const plane of planes)
    for (const [at, code] of plane.entries()) plane[at] = Math.min(Math.max(Math.round(code), 0), MOST);
  lookUp(table, planes, MOST);
  for (const plane of planes) for (const [at, code] of plane.entries()) plane[at] = code / MOST;
}

/** `rgbAt`: R'G'B' as recorded, 0 to 1. */
function knownOfCodes(
  places: readonly Place[],
  outcome: StillsOutcome,
  rgbAt: (x: number, y: number) => Triple,
  table: SpaceTable | null,
): Known {
  const pixels = places.flatMap((place) => squareOf(outcome, place));
  const codes = planesOf(pixels.length);
  const scale = table === null ? 1 : MOST / SCALED_END;
  for (const [at, { x, y }] of pixels.entries())
    for (const [channel, value] of rgbAt(x, y).entries())
      (codes[channel] as Float64Array)[at] = scale * value;
  if (table !== null) throughTable(codes, table);
  return { places, codes };
}

interface Coded {
  readonly source: SourcePicture;
  /** Where a pixel of the upright picture lies in it. */
  readonly placeOf: (x: number, y: number) => Place;
}

/** The picture as it is coded, and how its file says that it is to be seen. */
async function sourceOf(job: Job, { recorded, shown }: StillsOutcome): Promise<Coded> {
  const values = shown?.from === 'recorded' ? shown : recorded;
  if (values === null) throw new RangeError('recorded code values that nobody took for anything');
  const { matrix, range, siting } = values;
  const { width, height, pixelFormat, chromaSiting = 'left' } = job.facts.video;
  const orientation = await orientationOfClip(job);
  return {
    source: {
      width,
      height,
      pixelFormat,
      matrix,
      range,
      siting: siting !== null && isSiting(chromaSiting) ? chromaSiting : siting,
      interlaced: false,
      cubic: SCALER_CUBIC,
    },
    placeOf: (x, y) => codedPlace(orientation, { width, height }, { x, y }),
  };
}

async function spotsFor(
  job: Job,
  { shown, stills }: StillsOutcome,
  { tools, signal }: MakingContext,
): Promise<Spot[]> {
  if (shown?.from !== 'developed') throw new RangeError('spots of recorded code values');
  const { linearisation, size } = shown;
  return await spotsOf({
    job,
    outcome: { linearisation, ...size, frames: job.facts.video.frames },
    sceneLinear: sceneLinearOf(linearisation, await readTransform(job.deliveryFolder, linearisation)),
    // Only a seek in a movie needs them.
    values: new Float32Array(0),
    tools,
    signal,
    of: stills.map(({ frame }) => frame),
  });
}

/** Of every pixel of the still whose square lies within the spots. */
function knownOfSpot({ pixels, sceneLinear }: Spot, outcome: StillsOutcome, table: SpaceTable): Known {
  const index = new Map(pixels.map(({ x, y }, at) => [`${x} ${y}`, at]));
  const places = placesIn(pixels, outcome).flatMap((place) => {
    const at = squareOf(outcome, place).map(({ x, y }) => index.get(`${x} ${y}`));
    return at.every((one) => one !== undefined) ? [{ place, at }] : [];
  });
  const all = places.flatMap(({ at }) => at);
  const linear = planesOf(all.length);
  for (const [to, from] of all.entries())
    for (const channel of [0, 1, 2] as const) linear[channel][to] = sceneLinear[3 * from + channel] as number;
  const codes: [Float64Array, Float64Array, Float64Array] = [...planesOf(all.length)];
  exactRgb14(linear, all.length, codes);
  throughTable(codes, table);
  return { places: places.map(({ place }) => place), codes };
}

function placesIn(
  pixels: readonly Place[],
  { width, height, reduce: { left, top, ...reduce } }: StillsOutcome,
): Place[] {
  const places = new Map<string, Place>();
  for (const pixel of pixels) {
    const x = Math.floor(((pixel.x - left) * width) / reduce.width);
    const y = Math.floor(((pixel.y - top) * height) / reduce.height);
    if (x >= 0 && y >= 0 && x < width && y < height) places.set(`${x} ${y}`, { x, y });
  }
  return [...places.values()];
}
