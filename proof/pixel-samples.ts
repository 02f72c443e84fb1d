/**
 * The pixel samples of a master: of every frame, the values of a few pixels as they were decoded, before any transform; and of
 * a few frames many pixels as they must come out, computed by other means. A master is proved by it without its source (pixel-sample-file.ts).
 */
import type { Reading } from './form.ts';

/** Steps of half floats from zero, codes of 10, 12 or 16 bits, or steps on the curve of DWA (curve-steps.ts). */
export const sketchKinds = ['half', 'code', 'code-12', 'code-16', 'curve'] as const;
export type SketchKind = (typeof sketchKinds)[number];

/** One pixel in each cell of an 8 x 8 grid. */
const SIDE = 8;
export const POINTS = SIDE * SIDE;

export interface Point {
  readonly x: number;
  readonly y: number;
}

/** A mixing of 32 bits after the finaliser of MurmurHash3 (public domain): every bit of the place depends on every bit of the count. */
function mixed(value: number): number {
  let h = value >>> 0;
  h = Math.imul(h ^ (h >>> 16), 0x85ebca6b);
  h = Math.imul(h ^ (h >>> 13), 0xc2b2ae35);
  return (h ^ (h >>> 16)) >>> 0;
}

/** Which pixels of frame `frame` are in the fingerprints: another one of every cell in every frame, so that a clip's frames cover the picture. */
export function pointsOf(frame: number, width: number, height: number): Point[] {
  const inCell = (cell: number, side: number, hash: number): number => {
    const from = Math.floor((cell * side) / SIDE);
    const size = Math.max(1, Math.floor(((cell + 1) * side) / SIDE) - from);
    return Math.min(side - 1, from + (hash % size));
  };
  return Array.from({ length: POINTS }, (_, index) => {
    const hash = mixed(frame * POINTS + index);
    return {
      x: inCell(index % SIDE, width, hash & 0xffff),
      y: inCell(Math.floor(index / SIDE), height, hash >>> 16),
    };
  });
}

/** Pixels of a whole frame, computed by other means than those that made the master. */
export interface Spot {
  readonly frame: number;
  readonly pixels: readonly Point[];
  /** R, G, B of each pixel in linear AP0, double precision. */
  readonly sceneLinear: Float64Array;
}

export interface PixelSamples {
  readonly frames: number;
  readonly width: number;
  readonly height: number;
  /** By frame and point, R, G, B: code values of coded pictures (0 to 1), camera values of raw ones. */
  readonly values: Float32Array;
  readonly spots: readonly Spot[];
  /** Of frames that ffmpeg decoded: what the threads read of them, and what the decoder gave; absent: they came another way. */
  readonly reading?: Reading;
  /** By what the values are, of every frame its sketch (whole-frame-sketch.ts), one behind the other: what the encoders were given. */
  readonly sketches?: Readonly<Partial<Record<SketchKind, Int32Array>>>;
}
