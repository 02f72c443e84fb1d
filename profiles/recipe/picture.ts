/** The picture's way through the filters: what all deliverables share behind the decoder, and each one's own way to its encoder. */
import { type ClipFacts, earlierField } from '../../media/facts.ts';
import { type Tag, tagForFfmpeg } from '../../media/colour/h273.ts';
import {
  chromaLocationForScaler,
  goesThroughRgb,
  levelsBeforeScaler,
  levelsBehindScaler,
  movesChroma,
} from './levels.ts';
import { isRgb } from '../../media/pixel-format.ts';
import { formatRatio, type Rate, sameRatio } from '../../media/time/rate.ts';
import { colourOf } from '../outcome/colour.ts';
import { barFilters } from './bars.ts';
import { cutOf, rasterOf } from '../outcome/raster.ts';
import { rateOfFields } from '../outcome/split.ts';
import { matrixForScaler, pixelsForFfmpeg } from '../ffmpeg-names.ts';
import { keptPixels } from '../lossless-pixel-formats.ts';
import type { Outcome } from '../outcome.ts';
import type { Profile } from '../schema.ts';

/** The same picture on every machine and for every number of threads: no shortcut that depends on the processor. */
export const SCALE_FLAGS = 'bicubic+accurate_rnd+full_chroma_int+full_chroma_inp+bitexact';

/** R', G' and B' between two matrices: of as many bits as pass the scaler without more rounding. */
const BETWEEN = 'gbrp14le';
/** Y'CbCr with chroma for every pixel, likewise. */
const WHOLE = 'yuv444p16le';

/** Straight behind the decoder: time and size of every decoded frame on stderr (level info), before anything could drop, repeat or scale one. The fingerprints are taken here. */
export const WITNESS = 'showinfo=checksum=0';

/** What becomes of the fields of an interlaced source: a frame of the earlier field of each frame, a frame of each field, or nothing. */
export type Fields = 'made' | 'split' | 'kept';

/** By their count and never by their time; each keeps its time, by which its place is proved. */
export const stretchFilter = ({
  start,
  frames,
}: {
  readonly start: number;
  readonly frames: number;
}): string => `trim=start_frame=${start}:end_frame=${start + frames}`;

/**
 * What all deliverables share behind that. The frames are numbered in the rate that was measured: the time base of a
 * file may not be able to express it (600 ticks a second at 23.976), and the start of a file may not be 0. `fps` gives the encoders the rate and, with times that are exact, passes every frame once.
 */
export const sharedFilters = (facts: ClipFacts, fields: Fields, rate: Rate = facts.video.rate): string[] => [
  ...(fields === 'kept' ? [] : framesOfFields(facts, fields)),
  ...numbered(fields === 'split' ? rateOfFields(rate) : rate),
];

/** Of an interlaced source one whole frame of each, or of each of its fields; of others nothing. */
export function framesOfFields({ video }: ClipFacts, fields: Exclude<Fields, 'kept'> = 'made'): string[] {
  const earlier = earlierField(video);
  // The bare scaler unpacks what the deinterlacer does not take (packed 4:2:2), and passes everything else.
  return earlier === null
    ? []
    : [
        `scale=flags=${SCALE_FLAGS}`,
        `bwdif=mode=${fields === 'split' ? 'send_field' : 'send_frame'}:parity=${earlier === 'top' ? 'tff' : 'bff'}:deint=all`,
      ];
}

/**
 * Behind this, pictures are those of the grid that a rate that varies is laid on: each gets the number of the first instant at which it is seen,
 * ceil(time × rate), as its time; of several with one number `fps` takes the last, and between two it repeats the earlier, so that nothing is left to its rounding. What is
 * computed here are whole numbers below 2^53. What is not before the end of the stream `fps` drops, and of that end
 * it hears in the time of the last frame: all frames are moved far before it (at the end N is their number). Behind the last one come as many of it as are wanted.
 */
export function gridFilters({ video }: ClipFacts, { rate, frames }: Outcome): string[] {
  const { timeBase } = video;
  const [top, bottom] = [BigInt(timeBase.num) * BigInt(rate.num), BigInt(timeBase.den) * BigInt(rate.den)];
  const [ticks, most] = [BigInt(video.endTime - video.firstTime) * top, BigInt(2 * frames) * bottom];
  if (ticks >= 1n << 52n || most >= 1n << 52n) throw new RangeError('a clip that is too long for its clock');
  return [
    `setpts=round((ceil((PTS-STARTPTS)*${top}/${bottom})-${2 * frames}*lt(N\\,${video.frames}))*${bottom}/${top})`,
    `settb=${rate.den}/${rate.num}`,
    `fps=${formatRatio(rate)}`,
    `tpad=stop_mode=clone:stop=${frames}`,
    `trim=end_frame=${frames}`,
  ];
}
/** Frame n at n / rate. */
const numbered = (rate: Rate): string[] => [
  `settb=${rate.den}/${rate.num}`,
  'setpts=N',
  `fps=${formatRatio(rate)}`,
];

/** Of a deliverable that plays the frames at another rate than they were recorded at: each as before, on another clock. */
export const otherRate = ({ video }: ClipFacts, { rate, cadence }: Outcome): string[] =>
  sameRatio(cadence.split === null ? video.rate : rateOfFields(video.rate), rate) ? [] : numbered(rate);

/** Of a pixel, by a whole number for each side. */
const shapeFilter = ({ num, den }: Outcome['pixelAspect']): string =>
  num === den ? 'setsar=1' : `setsar=sar=${num}/${den}:max=${Math.max(num, den, 100)}`;

/** Between a decoder and an encoder that keeps every sample stands nothing but the name that the encoder knows the samples by. */
function keptFilters({ video }: ClipFacts): string[] {
  const pixels = keptPixels(video.pixelFormat);
  if (pixels === null) throw new RangeError('a recipe was asked for what the profile refuses');
  // Plane by plane, without a scaler: none of them is touched.
  const renamed =
    pixels.encodedAs === video.pixelFormat ? [] : [`mergeplanes=mapping=0x000102:format=${pixels.encodedAs}`];
  return [...renamed, shapeFilter(video.pixelAspect)];
}

/** To raster, pixels, matrix and range of the outcome; `key`: of pads of their own. Text is drawn behind this, `tagFilter` comes last. */
export function pictureFilters(facts: ClipFacts, profile: Profile, outcome: Outcome, key = ''): string[] {
  if (outcome.exact !== null) return keptFilters(facts);
  const raster = rasterOf(facts.video, profile.raster);
  const { scaled } = raster;
  const colour = colourOf(facts.video, profile);
  if ('findings' in colour) throw new RangeError('a recipe was asked for what the profile refuses');
  const { source, output } = colour.plan;
  const pixels = pixelsForFfmpeg(profile.pixels);
  const before = levelsBeforeScaler(facts.video.pixelFormat, source, output);
  const behind = levelsBehindScaler(facts.video.pixelFormat, pixels, source, output);
  // Every value is said: by itself the scaler takes untagged pictures and RGB for BT.601 at any size, and chroma of both sides for centred.
  const from = isRgb(facts.video.pixelFormat)
    ? `in_range=${source.range}`
    : `in_color_matrix=${matrixForScaler(source.matrix)}:in_range=${before.range}`;
  const chroma = (side: 'in' | 'out', format: string, stated?: string): string =>
    chromaLocationForScaler(side, format, stated)
      .map((item) => `:${item}`)
      .join('');
  const into = `out_color_matrix=${matrixForScaler(output.matrix)}:out_range=${behind.range}${chroma('out', pixels, outcome.chromaSiting ?? undefined)}`;
  const taken = `${from}${chroma('in', facts.video.pixelFormat, facts.video.chromaSiting)}`;
  const size = `scale=w=${scaled.width}:h=${scaled.height}:flags=${SCALE_FLAGS}`;
  const isThroughWhole =
    scaled.width === facts.video.width &&
    scaled.height === facts.video.height &&
    movesChroma(
      { pixelFormat: facts.video.pixelFormat, siting: facts.video.chromaSiting },
      { pixelFormat: pixels, siting: outcome.chromaSiting ?? undefined },
    );
  const matrix = matrixForScaler(source.matrix);
  const filters = [
    ...before.filters,
    // From matrix to matrix the scaler goes through RGB of 8 bits where 8 come out, and forgets where chroma lies.
    ...(goesThroughRgb(facts.video.pixelFormat, source, output)
      ? [`${size}:${taken}`, `format=${BETWEEN}`, `scale=flags=${SCALE_FLAGS}:${into}`]
      : isThroughWhole
        ? [
            `${size}:${taken}:out_color_matrix=${matrix}:out_range=${before.range}`,
            `format=${WHOLE}`,
            `scale=flags=${SCALE_FLAGS}:in_color_matrix=${matrix}:in_range=${before.range}:${into}`,
          ]
        : [`${size}:${taken}:${into}`]),
    `format=${pixels}`,
    ...behind.filters,
  ];
  if (scaled.width !== raster.width || scaled.height !== raster.height) {
    const { left, top } = cutOf(raster);
    // FFmpeg 5.1's VC-3 encoder crashes on lines that do not begin where a processor likes it: they are copied to such places.
    filters.push(`crop=w=${raster.width}:h=${raster.height}:x=${left}:y=${top}:exact=1`, 'copy');
  }
  if (raster.padded !== undefined) filters.push(...barFilters(outcome, pixels, key));
  return [...filters, shapeFilter(outcome.pixelAspect)];
}

const tagOf = (tag: Tag, name: string | null): string =>
  name === null ? 'unknown' : tagForFfmpeg(tag, name);

/** Tags set on the frames reach stream and container with every encoder; the encoders' own options do not. */
export function tagFilter({ colour, fieldOrder, exact }: Outcome): string {
  const field = fieldOrder === 'top-first' ? 'tff' : fieldOrder === 'bottom-first' ? 'bff' : 'prog';
  // Where nobody said that there are fields, a decoder that finds some is left to say so, and the check to find it.
  const mode = exact !== null && field === 'prog' ? '' : `field_mode=${field}:`;
  return `setparams=${mode}range=${colour.range ?? 'unknown'}:color_primaries=${tagOf('primaries', colour.primaries)}:color_trc=${tagOf('transfer', colour.transfer)}:colorspace=${tagOf('matrix', colour.matrix)}`;
}
