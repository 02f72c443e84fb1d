/** Facts of the picture stream, from its header and its counted packets. */
import type { FieldOrder, VideoFacts } from '../facts.ts';
import { codecFromFfmpeg } from '../codec-names.ts';
import { isGray, isPlanarYuv, isRgb, planesOf } from '../pixel-format.ts';
import { type Turn, turnOfMatrix } from '../upright.ts';
import { type Tag, tagFromFfmpeg } from '../colour/h273.ts';
import type { ColourTags } from '../colour/tags.ts';
import {
  type Rate,
  type Ratio,
  divideRatios,
  isKnownRate,
  knownRates,
  ratio,
  sameRatio,
} from '../time/rate.ts';
import { frameSpacingOf, stepsInOrder } from './frame-spacing.ts';
import type { PictureTally } from './packets.ts';
import type { StreamHeader } from './scan.ts';

/** `24000/1001` or `1:1` as ffprobe prints them; null for 0/0, 0:1 and N/A. */
export function ratioOf(text: string | undefined): Ratio | null {
  const parts = /^(\d+)[/:](\d+)$/.exec(text ?? '');
  if (parts === null || BigInt(parts[1] as string) === 0n || BigInt(parts[2] as string) === 0n) return null;
  return ratio(BigInt(parts[1] as string), BigInt(parts[2] as string));
}

/**
 * Which field is earlier. ffprobe prints the coded and the shown order as two letters; for fields woven into one
 * picture, files and readers alike use `tb` for top first and `bt` for bottom first (the names of the `fiel` values 9
 * and 14 in QuickTime's headers: first line early, first line late). Checked against MediaInfo in the tests.
 */
const FIELD_ORDERS: Readonly<Record<string, FieldOrder>> = {
  progressive: 'progressive',
  tt: 'top-first',
  tb: 'top-first',
  bb: 'bottom-first',
  bt: 'bottom-first',
};

function tag(name: Tag, value: string | undefined): string | null {
  return value === undefined || value === 'unknown' || value === 'reserved' || value === 'unspecified'
    ? null
    : tagFromFfmpeg(name, value);
}

export function colourOf(
  stream: Pick<StreamHeader, 'color_range' | 'color_primaries' | 'color_transfer' | 'color_space'>,
): ColourTags {
  const range = stream.color_range === 'tv' ? 'limited' : stream.color_range === 'pc' ? 'full' : null;
  return {
    primaries: tag('primaries', stream.color_primaries),
    transfer: tag('transfer', stream.color_transfer),
    matrix: tag('matrix', stream.color_space),
    range,
  };
}

/** What the stream says of where its chroma lies; of chroma that lies on every luma sample, nothing. */
function chromaSitingOf(stream: StreamHeader, pixelFormat: string): string | null {
  const stated = stream.chroma_location;
  if (stated === undefined || stated === 'unspecified' || stated === 'unknown') return null;
  const everywhere =
    isRgb(pixelFormat) ||
    isGray(pixelFormat) ||
    (isPlanarYuv(pixelFormat) && planesOf(pixelFormat).every(({ across, down }) => across * down === 1));
  return everywhere ? null : stated;
}

/** Bits of one component, as the header says or as the name of the pixel format carries it (`yuv422p10le`, `p010le`, `gbrpf32le`, `rgb48le`). */
export function bitDepthOf(pixelFormat: string, rawBits: string | undefined): number {
  const raw = Number(rawBits);
  if (Number.isInteger(raw) && raw > 0) return raw;
  const name = pixelFormat.replace(/[lb]e$/, '');
  const component =
    /^(?:yuva?\d{3}p|gbra?pf?|grayf?|ya|xyz|bayer_[rgb]{4}|y2|x2rgb|x2bgr|p[024])(\d{1,2})$/.exec(name);
  if (component !== null) return Number(component[1]);
  if (/^(?:rgb|bgr)a?(?:48|64)$/.test(name)) return 16;
  return name === 'nv20' ? 10 : 8;
}

/**
 * What brings the picture upright, from the display matrix (14496-12, 6.2.2: a b u / c d v / x y w,
 * 16.16 fixed point); null when the matrix shears or turns by anything but quarters.
 */
export function statedTurn(stream: StreamHeader): Turn | null {
  const matrix = stream.side_data_list.find((side) => side.displaymatrix !== undefined)?.displaymatrix;
  if (matrix === undefined) return { rotation: 0, mirrored: false };
  const numbers = matrix
    .split('\n')
    .flatMap((line) =>
      line
        .replace(/^[0-9a-f]+:/, '')
        .trim()
        .split(/\s+/),
    )
    .filter((text) => text !== '')
    .map(Number);
  const [a, b, , c, d] = numbers;
  if (a === undefined || b === undefined || c === undefined || d === undefined) return null;
  return turnOfMatrix(a, b, c, d);
}

export interface PictureProblem {
  readonly problem: 'no-decoder' | 'no-frames';
  /** Name of the codec, where the header says it. */
  readonly codec?: string;
  readonly detail: string;
}

/** Matroska tells a frame's length in whole nanoseconds (RFC 9559, 5.1.4.1.13), of which ffprobe makes a near ratio: 59.94 comes out as 19001/317, 119.88 as 29011/242, 3 ns away. Known rates are 8 µs apart and more. */
const NEAR_NANOSECONDS = 10n;

/** The known rate whose frames are as long, but for what such a clock leaves out; else the rate itself. */
function nearKnown(rate: Rate): Rate {
  const near = (known: Rate): boolean => {
    const away = BigInt(rate.den) * BigInt(known.num) - BigInt(known.den) * BigInt(rate.num);
    const limit = NEAR_NANOSECONDS * BigInt(rate.num) * BigInt(known.num);
    return 1_000_000_000n * away <= limit && -1_000_000_000n * away <= limit;
  };
  return isKnownRate(rate) ? rate : (knownRates.find(near) ?? rate);
}

/** What a header claims as rate, the most trusted first: a known rate before any other. */
function claimedRates(stream: StreamHeader): Rate[] {
  const claims = [ratioOf(stream.r_frame_rate), ratioOf(stream.avg_frame_rate)]
    .filter((rate) => rate !== null)
    .map(nearKnown);
  return [...claims.filter(isKnownRate), ...claims.filter((rate) => !isKnownRate(rate))];
}

/** Frames that the header claims: MOV and MP4 count samples; MXF states a duration in edit units, which are frames. */
function claimOf(stream: StreamHeader, timeBase: Ratio, rate: Rate): number | null {
  const counted = Number(stream.nb_frames);
  if (Number.isSafeInteger(counted) && counted > 0) return counted;
  const tickIsFrame = sameRatio(divideRatios({ num: 1, den: 1 }, timeBase), rate);
  return tickIsFrame && stream.duration_ts !== undefined && stream.duration_ts > 0
    ? stream.duration_ts
    : null;
}

export function pictureFacts(
  stream: StreamHeader,
  tally: PictureTally | undefined,
): VideoFacts | PictureProblem {
  const name = stream.codec_name;
  const pixelFormat = stream.pix_fmt;
  const timeBase = ratioOf(stream.time_base);
  if (
    name === undefined ||
    name === 'unknown' ||
    pixelFormat === undefined ||
    pixelFormat === 'unknown' ||
    timeBase === null ||
    !stream.width ||
    !stream.height
  ) {
    return {
      problem: 'no-decoder',
      ...(name === undefined ? {} : { codec: name }),
      detail: `codec ${name ?? 'unknown'} (${stream.codec_tag_string || 'no tag'}), pixel format ${pixelFormat ?? 'unknown'}, raster ${stream.width ?? 0}x${stream.height ?? 0}`,
    };
  }
  if (tally === undefined || tally.shown === 0)
    return { problem: 'no-frames', detail: `${tally?.packets ?? 0} packets, none of them shown` };
  // AVI tells the order of decoding only; its packets are one step apart all the same.
  const times = Float64Array.from(tally.untimed === 0 ? tally.presentation : tally.decode).sort();
  const frameSpacing = frameSpacingOf(times, timeBase, claimedRates(stream));
  const single =
    tally.lastDuration > 0
      ? divideRatios(
          { num: 1, den: 1 },
          ratio(BigInt(timeBase.num) * BigInt(tally.lastDuration), timeBase.den),
        )
      : null;
  const chromaSiting = chromaSitingOf(stream, pixelFormat);
  const turn = statedTurn(stream);
  const rate = frameSpacing.rate ?? single;
  if (rate === null) return { problem: 'no-frames', detail: 'one frame, and neither a rate nor a duration' };
  const firstTime = times[0] ?? 0;
  const last = times[times.length - 1] ?? firstTime;
  const step = tally.lastDuration || frameSpacing.steps[0]?.ticks || 0;
  const endTime = tally.untimed === 0 && tally.end !== null && tally.end > last ? tally.end : last + step;
  return {
    streamIndex: stream.index,
    codec: codecFromFfmpeg(name),
    codecTag: stream.codec_tag_string,
    profile: stream.profile === undefined ? null : String(stream.profile),
    level: stream.level !== undefined && stream.level >= 0 ? stream.level : null,
    width: stream.width,
    height: stream.height,
    pixelAspect: ratioOf(stream.sample_aspect_ratio) ?? { num: 1, den: 1 },
    rotation: turn?.rotation ?? 0,
    ...(turn?.mirrored === true ? { mirrored: true } : {}),
    pixelFormat,
    bitDepth: bitDepthOf(pixelFormat, stream.bits_per_raw_sample),
    fieldOrder: FIELD_ORDERS[stream.field_order ?? ''] ?? 'unknown',
    colour: colourOf(stream),
    ...(chromaSiting === null ? {} : { chromaSiting }),
    frames: tally.shown,
    claimedFrames: claimOf(stream, timeBase, rate),
    rate,
    timeBase,
    firstTime,
    endTime,
    steps: frameSpacing.steps.map((item) => ({ ...item })),
    ...(frameSpacing.constant ? {} : { stepsInOrder: stepsInOrder(times) }),
    rateConstant: frameSpacing.constant,
    bytes: tally.bytes,
    smallestPacket: tally.smallest,
    largestPacket: tally.largest,
  };
}
