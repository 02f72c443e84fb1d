/** How large a picture comes out: exact, from what is coded and what the profile asks. */
import { roundedDivision } from '../../media/time/rate.ts';
import type { VideoFacts } from '../../media/facts.ts';
import type { Rectangle } from '../../proof/framing.ts';
import type { Profile } from '../schema.ts';

export interface Raster {
  /** What the upright picture is scaled to; equal to its own size when it is only cut. */
  readonly scaled: { readonly width: number; readonly height: number };
  /** What is cut out of that and delivered. */
  readonly width: number;
  readonly height: number;
  /** Where it is cut out, by a frame line; absent: in the middle. */
  readonly at?: { readonly left: number; readonly top: number };
  /** What is delivered, where it is larger than that, and where in it that lies; around it is black. */
  readonly padded?: Rectangle;
}

/** Of the delivered picture, with all that is black around the source's. */
export const deliveredSize = ({ width, height, padded }: Raster): { width: number; height: number } => ({
  width: padded?.width ?? width,
  height: padded?.height ?? height,
});

/** Half of what is left over, on a chroma sample. */
const middle = (whole: number, part: number): number => 2 * Math.floor((whole - part) / 4);

/** Where in the scaled picture the delivered one is cut out: the middle, on a chroma sample; what is only cut to a multiple loses its last columns and lines. */
export function cutOf({ scaled, width, height, at }: Raster): {
  readonly left: number;
  readonly top: number;
} {
  if (at !== undefined) return at;
  return { left: middle(scaled.width, width), top: middle(scaled.height, height) };
}

interface Fraction {
  readonly num: bigint;
  readonly den: bigint;
}

const times = (a: Fraction, b: Fraction): Fraction => ({ num: a.num * b.num, den: a.den * b.den });
const over = (whole: number, side: Fraction): Fraction => ({ num: BigInt(whole) * side.den, den: side.num });
const less = (a: Fraction, b: Fraction): boolean => a.num * b.den < b.num * a.den;
const SQUARE = { num: 1, den: 1 } as const;
const ONE: Fraction = { num: 1n, den: 1n };

/** The nearest multiple, halves upwards; not beyond `limit` (null: no limit); at least one multiple. */
function nearest(side: Fraction, multiple: number, limit: number | null): number {
  const step = BigInt(multiple);
  let size = Number(roundedDivision(side.num, side.den * step)) * multiple;
  if (limit !== null && size > limit) size = limit - (limit % multiple);
  return Math.max(multiple, size);
}

/**
 * Size of the picture upright and with square pixels. Every line is kept: pixels that are not square are made so by
 * changing the width (before a turn by a quarter).
 */
function upright(video: VideoFacts): { width: Fraction; height: Fraction } {
  const width: Fraction = {
    num: BigInt(video.width) * BigInt(video.pixelAspect.num),
    den: BigInt(video.pixelAspect.den),
  };
  const height: Fraction = { num: BigInt(video.height), den: 1n };
  return video.rotation === 90 || video.rotation === 270
    ? { width: height, height: width }
    : { width, height };
}

/** The picture at its own size, cut to the multiple at right and bottom: nothing is resampled where pixels are square. */
function asShot(width: Fraction, height: Fraction, multiple: number): Raster {
  const scaled = { width: nearest(width, 1, null), height: nearest(height, 1, null) };
  const cut = (size: number): number => Math.max(multiple, size - (size % multiple));
  const delivered = { width: cut(scaled.width), height: cut(scaled.height) };
  // Narrower than one multiple: the least that can be delivered is one.
  return {
    scaled: {
      width: Math.max(scaled.width, delivered.width),
      height: Math.max(scaled.height, delivered.height),
    },
    ...delivered,
  };
}

type FrameLine = NonNullable<VideoFacts['frameLine']>;

/**
 * The whole picture at the size at which the part within the frame line comes out as `inside`, and where that lies in it: on a chroma
 * sample, and wholly in the picture.
 */
function framed(
  whole: { readonly width: number; readonly height: number },
  line: FrameLine,
  inside: { readonly width: number; readonly height: number },
): Raster {
  const along = (size: number, part: number, start: number, out: number): { scaled: number; at: number } => {
    // What is only cut is not resampled.
    const exact = out / part;
    const scaled = Math.max(out, Math.abs(exact - size) < 1 ? size : Math.round(exact));
    const at = 2 * Math.round((start * scaled) / 2);
    return { scaled, at: Math.max(0, Math.min(at, 2 * Math.floor((scaled - out) / 2))) };
  };
  const across = along(whole.width, line.width, line.left, inside.width);
  const down = along(whole.height, line.height, line.top, inside.height);
  return {
    scaled: { width: across.scaled, height: down.scaled },
    ...inside,
    at: { left: across.at, top: down.at },
  };
}

const rounded = ({ num, den }: Fraction): number => Number(roundedDivision(num, den));

/** `line`: its part of the picture comes out as a picture of that shape would. */
function insideLine(
  { frameLine: line, ...video }: VideoFacts & { readonly frameLine: FrameLine },
  raster: Profile['raster'],
): Raster {
  const whole = upright(video);
  const size = { width: rounded(whole.width), height: rounded(whole.height) };
  const { rotation: _, pixelAspect: __, ...rest } = video;
  // The part alone, as if it had been recorded: upright, of square pixels.
  const part: VideoFacts = {
    ...rest,
    rotation: 0,
    pixelAspect: { num: 1, den: 1 },
    width: Math.max(1, Math.round(size.width * line.width)),
    height: Math.max(1, Math.round(size.height * line.height)),
  };
  const inside = rasterOf(part, raster);
  // What `fill` cuts off besides is cut off at both sides of the part.
  const shown: FrameLine = {
    left: line.left + (line.width * (inside.scaled.width - inside.width)) / 2 / inside.scaled.width,
    top: line.top + (line.height * (inside.scaled.height - inside.height)) / 2 / inside.scaled.height,
    width: (line.width * inside.width) / inside.scaled.width,
    height: (line.height * inside.height) / inside.scaled.height,
  };
  return {
    ...framed(size, shown, { width: inside.width, height: inside.height }),
    ...(inside.padded === undefined ? {} : { padded: inside.padded }),
  };
}

/** In the middle of a box; what fills it stays as it is. */
function inBox(raster: Raster, box: { readonly width: number; readonly height: number }): Raster {
  if (raster.width === box.width && raster.height === box.height) return raster;
  const { width, height } = box;
  return {
    ...raster,
    padded: { left: middle(width, raster.width), top: middle(height, raster.height), width, height },
  };
}

export function rasterOf(video: VideoFacts, raster: Profile['raster']): Raster {
  // Counted in pixels as they are.
  if (raster.pixel_aspect === 'keep')
    return rasterOf({ ...video, pixelAspect: SQUARE }, { ...raster, pixel_aspect: 'square' });
  const { frameLine } = video;
  if (frameLine !== undefined && raster.policy !== 'coded')
    return insideLine({ ...video, frameLine }, raster);
  if (raster.policy === 'coded')
    return { scaled: { width: video.width, height: video.height }, width: video.width, height: video.height };
  const { width, height } = upright(video);
  const multiple = raster.multiple_of;
  const { width: across, height: down } = raster;
  if (raster.policy === 'pad' && across !== null && down !== null)
    return inBox(rasterOf(video, { ...raster, policy: 'fit' }), { width: across, height: down });
  if (raster.policy === 'native' || raster.width === null) return asShot(width, height, multiple);
  const byWidth = over(raster.width, width);
  const byHeight = raster.height === null ? null : over(raster.height, height);
  if (raster.policy === 'fill' && byHeight !== null && raster.height !== null) {
    const factor = less(byWidth, byHeight) ? byHeight : byWidth;
    // One side is met exactly; the other reaches beyond and is cut. Even, so that the cut falls between chroma samples.
    const scaled = {
      width: Math.max(raster.width, nearest(times(width, factor), 2, null)),
      height: Math.max(raster.height, nearest(times(height, factor), 2, null)),
    };
    return { scaled, width: raster.width, height: raster.height };
  }
  const factor = byHeight !== null && less(byHeight, byWidth) ? byHeight : byWidth;
  if (!raster.enlarge && !less(factor, ONE)) return asShot(width, height, multiple);
  const delivered = {
    width: nearest(times(width, factor), multiple, raster.width),
    height: nearest(times(height, factor), multiple, raster.height),
  };
  return { scaled: delivered, ...delivered };
}
