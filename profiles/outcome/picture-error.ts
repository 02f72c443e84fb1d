/** By what regions the error of a deliverable's frames is measured, and what it must reach. */
import { type SketchForm, sketchGrid, sketchNumbers } from '../../proof/sketch/form.ts';
import type { Outcome } from '../outcome.ts';
import type { Profile } from '../schema.ts';

/** null: nothing is lost. */
export function pictureErrorOf(
  { regions, least_psnr: leastPsnr }: Profile['picture_error'],
  size: { readonly width: number; readonly height: number },
): Outcome['pictureError'] {
  if (regions === 'none' || leastPsnr === null) return null;
  return { ...sketchGrid(size, regions), leastPsnr };
}

/** The sketch of the pictures as an encoder takes them, or a decoder gives them. null: none is taken. */
export function sketchFormOf(
  { width, height, pictureError }: Outcome,
  pixelFormat: string,
): SketchForm | null {
  if (pictureError === null) return null;
  const { columns, rows } = pictureError;
  return { width, height, pixelFormat, grid: { columns, rows } };
}

/** What is kept of it beside the reports, before packing. */
export function sketchBytes(outcome: Outcome): number {
  const form = sketchFormOf(outcome, outcome.pixelFormat);
  return form === null ? 0 : 2 * sketchNumbers(form) * outcome.frames;
}
