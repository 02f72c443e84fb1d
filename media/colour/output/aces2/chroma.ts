/** Chroma compression of ACES 2: colourfulness after the tone scale has changed lightness (aces-core, April 2025). */
import { LIGHTNESS_POWER } from './appearance.ts';

export interface ChromaCompression {
  /** Lightness of the peak. */
  readonly most: number;
  readonly saturation: number;
  readonly saturationThreshold: number;
  readonly compression: number;
  readonly scale: number;
}

export function chromaCompressionOf(peak: number, most: number): ChromaCompression {
  const stops = Math.log10(peak / 100);
  return {
    most,
    saturation: Math.max(0.2, 1.3 - 1.3 * 0.69 * stops),
    saturationThreshold: 0.5 / peak,
    compression: 2.4 + 2.4 * 3.3 * stops,
    scale: (0.03379 * peak) ** 0.30596 - 0.45135,
  };
}

/** Colourfulness of a boundary by hue, a series of cosines and sines. */
function norm(cos: number, sin: number): number {
  const cos2 = 2 * cos * cos - 1;
  const sin2 = 2 * cos * sin;
  const cos3 = 4 * cos * cos * cos - 3 * cos;
  const sin3 = 3 * sin - 4 * sin * sin * sin;
  return (
    77.12896 +
    11.34072 * cos +
    16.46899 * cos2 +
    7.8838 * cos3 +
    14.66441 * sin -
    6.37224 * sin2 +
    9.19364 * sin3
  );
}

function toe(x: number, limit: number, k1: number, k2: number): number {
  if (x > limit) return x;
  const second = Math.max(k2, 0.001);
  const first = Math.sqrt(k1 * k1 + second * second);
  const third = (limit + first) / (limit + second);
  const minus = third * x - first;
  return 0.5 * (minus + Math.sqrt(minus * minus + 4 * second * third * x));
}

/** The colour before the tone scale, its lightness after it, and the reach of AP1 at its hue. */
export interface Toned {
  readonly lightness: number;
  readonly colourfulness: number;
  readonly cos: number;
  readonly sin: number;
}

/** Colourfulness that goes with the lightness after the tone scale. */
export function compressChroma(
  { most, saturation, saturationThreshold, compression, scale }: ChromaCompression,
  { lightness, colourfulness, cos, sin }: Toned,
  toned: number,
  reach: number,
): number {
  if (colourfulness === 0) return 0;
  const part = toned / most;
  const rest = Math.max(0, 1 - part);
  const unit = norm(cos, sin) * scale;
  const limit = (part ** (1 / LIGHTNESS_POWER) * reach) / unit;
  const kept = (colourfulness * (toned / lightness) ** (1 / LIGHTNESS_POWER)) / unit;
  const expanded =
    limit - toe(limit - kept, limit - 0.001, rest * saturation, Math.sqrt(part * part + saturationThreshold));
  return toe(expanded, limit, part * compression, rest) * unit;
}
