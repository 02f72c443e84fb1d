/**
 * An error sketch: a few hundred numbers of every whole frame, from which the energy of its difference to another is measured later, without the
 * frame. Signs of a pseudo-random mask (mask.ts) are put to every sample, and what comes out is averaged over regions. Sums of signed
 * samples are linear, so that the difference of two sketches is the sketch of the difference, and its square, times the samples of a region,
 * an unbiased estimate of the mean squared error in it, with a relative standard deviation of sqrt(2 / regions) for a plane. (Alon, Matias,
 * Szegedy, "The space complexity of approximating the frequency moments", 1996.)
 *
 * Beside them the plain averages of regions: a codec keeps those far better than it keeps samples, so that what moves one of them is no loss of coding.
 */
import { planesOf } from '../../media/pixel-format.ts';

/** Most regions across and down, of luma. */
export const sketchRegions = { fine: { columns: 64, rows: 36 }, coarse: { columns: 32, rows: 18 } } as const;
export type SketchRegions = keyof typeof sketchRegions;

export interface SketchGrid {
  readonly columns: number;
  readonly rows: number;
}

/** A region has at least so many samples of luma a side: fewer, and the scaler's own rounding would count. */
const LEAST_SIDE = 16;

/** Of luma. Even numbers, so that planes of half the width or height have whole regions of as many samples. */
export function sketchGrid(
  { width, height }: { readonly width: number; readonly height: number },
  regions: SketchRegions,
): SketchGrid {
  const most = sketchRegions[regions];
  const side = (length: number, limit: number): number =>
    Math.min(limit, Math.max(2, 2 * Math.floor(length / (2 * LEAST_SIDE))));
  return { columns: side(width, most.columns), rows: side(height, most.rows) };
}

export interface SketchPlane extends SketchGrid {
  /** Samples of a region. */
  readonly samples: number;
  /** Where the plane's numbers begin among those of a frame. */
  readonly from: number;
}

/** Depth of the samples that a planar pixel format of ffmpeg has. */
export function sampleBits(pixelFormat: string): number {
  return Number(/p(\d+)(?:le|be)$/.exec(pixelFormat)?.[1] ?? 8);
}

/** What is put to a sketch, and how its numbers lie: signed averages of Y', Cb, Cr, each region by region, row by row; then plain ones. */
export interface SketchForm {
  /** Of the picture, in pixels. */
  readonly width: number;
  readonly height: number;
  /** As ffmpeg names it. */
  readonly pixelFormat: string;
  /** Of the signed averages. */
  readonly grid: SketchGrid;
}

/** Planes of a Y'CbCr picture, as their signed averages lie. */
export function sketchPlanes(form: SketchForm): SketchPlane[] {
  return planesBy(form, form.grid, 0);
}

/** The regions of the plain averages: as many as can be, since what is small moves the average of a small region. */
export function plainGrid(size: { readonly width: number; readonly height: number }): SketchGrid {
  return sketchGrid(size, 'fine');
}

/** The same of the plain averages, which lie behind the signed ones. */
export function plainPlanes(form: SketchForm): SketchPlane[] {
  return planesBy(form, plainGrid(form), numbersOf(sketchPlanes(form)));
}

function planesBy(
  { width, height, pixelFormat }: SketchForm,
  grid: SketchGrid,
  first: number,
): SketchPlane[] {
  let from = first;
  return planesOf(pixelFormat).map(({ across, down }) => {
    const columns = Math.ceil(grid.columns / across);
    const rows = Math.ceil(grid.rows / down);
    const samples = (Math.ceil(width / across) * Math.ceil(height / down)) / (columns * rows);
    const plane = { columns, rows, samples, from };
    from += columns * rows;
    return plane;
  });
}

/** Numbers a frame, of 16 bits each before packing. */
export function sketchNumbers(form: SketchForm): number {
  return numbersOf([...sketchPlanes(form), ...plainPlanes(form)]);
}

const numbersOf = (planes: readonly SketchPlane[]): number =>
  planes.reduce((sum, { columns, rows }) => sum + columns * rows, 0);

export interface ErrorSketch extends SketchForm {
  /** What the mask was drawn by (mask.ts). */
  readonly seed: string;
  readonly frames: number;
  /** frames x `sketchNumbers`: a sample v of b bits counts v * 2^(16 - b), a masked one (2^b - 1 - v) * 2^(16 - b). */
  readonly values: Uint16Array;
  /** Mean PSNR of all frames of Y', Cb, Cr in decibels, as the encoder itself stated it; null: it states none. */
  readonly stated: readonly number[] | null;
}
