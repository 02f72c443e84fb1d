/** How large the picture comes out: exact, upright, with square pixels. */
import { ratio, roundedDivision, safeNumber, sameRatio, type Ratio } from '../../media/rate.ts';
import type { VideoFacts } from '../../media/facts.ts';
import type { Profile } from '../schema.ts';

export interface Raster {
  readonly width: number;
  readonly height: number;
  /** What the picture is scaled to before its edges are cut to width x height; equal to them unless the policy is fill. */
  readonly scaled: { readonly width: number; readonly height: number };
}

/** The upright picture with square pixels, width as a ratio since pixel aspects are seldom whole. */
function uprightSize(video: VideoFacts): { width: Ratio; height: number } {
  const turned = video.rotation === 90 || video.rotation === 270;
  const wide = turned ? video.height : video.width;
  const high = turned ? video.width : video.height;
  const aspect = turned ? ratio(video.pixelAspect.den, video.pixelAspect.num) : video.pixelAspect;
  return { width: ratio(BigInt(wide) * BigInt(aspect.num), BigInt(aspect.den)), height: high };
}

/** The multiple of `step` nearest to top/bottom, half up, at least one step, at most `limit` when given. */
function nearest(top: bigint, bottom: bigint, step: number, limit: number | null): number {
  const size = Math.max(safeNumber(roundedDivision(top, bottom * BigInt(step))), 1) * step;
  return limit === null ? size : Math.min(size, Math.floor(limit / step) * step);
}

export function rasterOf(video: VideoFacts, { policy, width, height, multiple_of: step, enlarge }: Profile['raster']): Raster {
  const source = uprightSize(video);
  const [w, h] = [BigInt(source.width.num), BigInt(source.height)];
  const d = BigInt(source.width.den);
  const whole = (size: { width: number; height: number }): Raster => ({ ...size, scaled: size });
  if (policy === 'native' || width === null) return whole({ width: nearest(w, d, step, null), height: nearest(h, 1n, step, null) });
  const boxWidth = BigInt(width);
  if (policy === 'fill' && height !== null) {
    const boxHeight = BigInt(height);
    // Covers the box: the side that is relatively shorter sets the scale, the other one is cut.
    const wider = w * boxHeight >= boxWidth * h * d;
    const scaled = wider
      ? { width: Math.max(width, safeNumber(roundedDivision(w * boxHeight, d * h))), height }
      : { width, height: Math.max(height, safeNumber(roundedDivision(h * d * boxWidth, w))) };
    return { width, height, scaled };
  }
  const fits = w <= boxWidth * d && (height === null || h <= BigInt(height));
  if (fits && !enlarge) return whole({ width: nearest(w, d, step, width), height: nearest(h, 1n, step, height) });
  const byWidth = height === null || w * BigInt(height) >= boxWidth * h * d;
  if (byWidth) return whole({ width, height: nearest(boxWidth * h * d, w, step, height) });
  return whole({ width: nearest(w * BigInt(height), d * h, step, width), height });
}

export function isSquare(aspect: Ratio): boolean {
  return sameRatio(aspect, { num: 1, den: 1 });
}
