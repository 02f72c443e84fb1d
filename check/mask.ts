/** The picture of the mask that error sketches of a file are taken by, as the decode reads it. */
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Outcome } from '../profiles/outcome.ts';
import { sketchFormOf } from '../profiles/outcome/picture-error.ts';
import type { ErrorSketch } from '../proof/sketch/form.ts';
import { maskPicture } from '../proof/sketch/mask.ts';
import type { SketchedBy } from './witness.ts';

/** The picture of the mask in a private folder; null: no sketch is taken. */
export async function maskOf({
  outcome,
  sketch,
}: {
  readonly outcome: Outcome;
  readonly sketch: ErrorSketch | null;
}): Promise<{ sketched: SketchedBy; dispose: () => Promise<void> } | null> {
  const form = sketchFormOf(outcome, outcome.pixelFormat);
  if (form === null || sketch === null) return null;
  const folder = await mkdtemp(join(tmpdir(), 'rushlight-mask-'));
  const dispose = (): Promise<void> => rm(folder, { recursive: true, force: true });
  const maskFile = join(folder, 'mask.raw');
  try {
    await writeFile(maskFile, maskPicture(sketch.seed, form));
  } catch (error) {
    await dispose();
    throw error;
  }
  return { sketched: { form, maskFile }, dispose };
}
