/**
 * Pixels of a still against what the source gives for them, in double precision: each is the mean of a square of the picture, coded for sRGB. Pure. Shares no curve
 * and no filter with what made the still.
 */
import { createHash } from 'node:crypto';
import type { StillsOutcome } from '../../profiles/stills/schema.ts';
import type { ReadStill } from './png.ts';

type Triple = readonly [number, number, number];
interface Place {
  readonly x: number;
  readonly y: number;
}

/** So many pixels of the source are computed again, so that a large picture costs no more than a small one. */
const SOURCE_PIXELS = 6000;
const [FEWEST, MOST] = [200, 1500];

/** One place in each part of a grid over the still, drawn by `seed`. */
export function drawnPlaces(
  { width, height, reduce }: Pick<StillsOutcome, 'width' | 'height' | 'reduce'>,
  seed: string,
): Place[] {
  const wanted = Math.min(
    MOST,
    Math.max(FEWEST, Math.floor((SOURCE_PIXELS * width * height) / (reduce.width * reduce.height))),
  );
  const columns = Math.max(1, Math.min(width, Math.round(Math.sqrt((wanted * width) / height))));
  const rows = Math.max(1, Math.min(height, Math.round(wanted / columns)));
  const places: Place[] = [];
  for (let row = 0; row < rows; row += 1)
    for (let column = 0; column < columns; column += 1) {
      const draw = createHash('sha256').update(`${seed} ${row} ${column}`).digest();
      const within = (from: number, to: number, bytes: number): number =>
        from + (draw.readUInt32BE(bytes) % Math.max(1, to - from));
      places.push({
        x: within(Math.floor((column * width) / columns), Math.floor(((column + 1) * width) / columns), 0),
        y: within(Math.floor((row * height) / rows), Math.floor(((row + 1) * height) / rows), 4),
      });
    }
  return places;
}

/** How much of each pixel of the picture, 0 to 1, lies under pixel `at` of a side of the still. */
function under(at: number, made: number, of: number): { readonly at: number; readonly part: number }[] {
  const [from, to] = [(at * of) / made, ((at + 1) * of) / made];
  const first = Math.floor(from);
  return Array.from({ length: Math.ceil(to) - first }, (_, index) => ({
    at: first + index,
    part: Math.min(to, first + index + 1) - Math.max(from, first + index),
  })).filter(({ part }) => part > 1e-9);
}

/** Pixels of the picture whose mean, each by its part, is a pixel of the still. */
export function squareOf(
  { reduce, width, height }: Pick<StillsOutcome, 'reduce' | 'width' | 'height'>,
  { x, y }: Place,
): (Place & { readonly part: number })[] {
  return under(y, height, reduce.height).flatMap((line) =>
    under(x, width, reduce.width).map((column) => ({
      x: reduce.left + column.at,
      y: reduce.top + line.at,
      part: line.part * column.part,
    })),
  );
}

/** Light of a display of ITU-R BT.1886 (Annex 1, black of 0) coded for one of sRGB (IEC 61966-2-1); a code of sRGB stays. */
export function codedForSrgb(code: number, curve: 'bt1886' | 'srgb'): number {
  const held = Math.min(Math.max(code, 0), 1);
  if (curve === 'srgb') return held;
  const light = held ** 2.4;
  return light <= 0.003_130_8 ? 12.92 * light : 1.055 * light ** (1 / 2.4) - 0.055;
}

/**
 * Steps of 8 bits. Most samples must be met to the rounding of 8 bits and what the scaler and the table do; where a table in space or chroma at an edge comes near
 * only, a few may be farther off. Measured: see docs/mechanisms/stills.md.
 */
export const ALLOWED = { most: 2, share: 0.97, farthest: 24, mean: 0.5 } as const;

export interface StillDifference {
  readonly samples: number;
  /** Steps of 8 bits. */
  readonly mean: number;
  readonly farthest: number;
  /** Share of the samples that are off by no more than `ALLOWED.most`. */
  readonly within: number;
  readonly at: Place | null;
}

/** `wanted`: by place, codes of sRGB 0 to 1. */
export function stillDifference(
  read: ReadStill,
  places: readonly Place[],
  wanted: readonly Triple[],
): StillDifference {
  const steps = 255 / (2 ** read.bits - 1);
  let [samples, sum, within, farthest] = [0, 0, 0, 0];
  let at: Place | null = null;
  for (const [index, place] of places.entries()) {
    for (const [channel, code] of (wanted[index] ?? []).entries()) {
      const found = (read.samples[3 * (place.y * read.width + place.x) + channel] as number) * steps;
      const off = Math.abs(found - 255 * code);
      samples += 1;
      sum += off;
      if (off <= ALLOWED.most) within += 1;
      if (off <= farthest) continue;
      farthest = off;
      at = place;
    }
  }
  return {
    samples,
    mean: samples === 0 ? 0 : sum / samples,
    farthest,
    within: samples === 0 ? 0 : within / samples,
    at,
  };
}

/** Fewer samples than this say nothing of a picture. */
const LEAST_SAMPLES = 3;

export const isMet = ({ samples, mean, farthest, within }: StillDifference): boolean =>
  samples >= LEAST_SAMPLES && mean <= ALLOWED.mean && within >= ALLOWED.share && farthest <= ALLOWED.farthest;
