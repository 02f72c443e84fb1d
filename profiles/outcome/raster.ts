/** How large a picture comes out: exact, from what is coded and what the profile asks. */
import { roundedDivision } from '../../media/time/rate.ts';
import type { VideoFacts } from '../../media/facts.ts';
import type { Profile } from '../schema.ts';

export interface Raster {
  /** What the upright picture is scaled to; equal to its own size when it is only cut. */
  readonly scaled: { readonly width: number; readonly height: number };
  /** What is cut out of the middle of that and delivered. */
  readonly width: number;
  readonly height: number;
}

/** Where in the scaled picture the delivered one is cut out: the middle, on a chroma sample; what is only cut to a multiple loses its last columns and lines. */
export function cutOf({ scaled, width, height }: Raster): { readonly left: number; readonly top: number } {
  const middle = (whole: number, part: number): number => 2 * Math.floor((whole - part) / 4);
  return { left: middle(scaled.width, width), top: middle(scaled.height, height) };
}

interface Fraction {
  readonly num: bigint;
  readonly den: bigint;
}

const times = (a: Fraction, b: Fraction): Fraction => ({ num: a.num * b.num, den: a.den * b.den });
const over = (whole: number, side: Fraction): Fraction => ({ num: BigInt(whole) * side.den, den: side.num });
const less = (a: Fraction, b: Fraction): boolean => a.num * b.den < b.num * a.den;
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

export function rasterOf(video: VideoFacts, raster: Profile['raster']): Raster {
  if (raster.policy === 'coded')
    return { scaled: { width: video.width, height: video.height }, width: video.width, height: video.height };
  const { width, height } = upright(video);
  const multiple = raster.multiple_of;
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
