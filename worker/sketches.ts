/** The error sketches of a command: what its pipes gave, put together with what they were taken by. */
import { join } from 'node:path';
import type { Job } from '../ledger/job.ts';
import { layout } from '../ledger/layout.ts';
import type { DeliverableReport } from '../ledger/report.ts';
import { writeWhole } from '../ledger/store.ts';
import type { MaskFile } from '../profiles/recipe/sketch.ts';
import type { ValueCollector } from '../proof/collect.ts';
import { sketchFile } from '../proof/sketch/file.ts';
import { type ErrorSketch, sketchNumbers } from '../proof/sketch/form.ts';
import { sketchValues } from '../proof/sketch/tap.ts';
import { makeFolder } from './target.ts';

/** Each by deliverable. */
export interface TakenSketches {
  readonly collectors: readonly (ValueCollector | undefined)[];
  readonly masks: readonly (MaskFile | null)[];
  readonly seeds: readonly string[];
  /** Decibels of Y', Cb, Cr; Infinity: nothing was lost. */
  readonly stated: readonly (readonly number[] | null)[];
}

/** More than any frame of 16 bits has; JSON has no Infinity. */
const NOTHING_LOST = 999;

export function sketchesOf({ collectors, masks, seeds, stated }: TakenSketches): (ErrorSketch | null)[] {
  return masks.map((mask, index) => {
    const collector = collectors[index];
    const values = mask === null || collector === undefined ? undefined : sketchValues(collector, mask.form);
    if (mask === null || values === undefined) return null;
    return {
      ...mask.form,
      seed: seeds[index] as string,
      frames: values.length / sketchNumbers(mask.form),
      values,
      stated: stated[index]?.map((psnr) => Math.min(psnr, NOTHING_LOST)) ?? null,
    };
  });
}

/** Writes the file of a sketch and says where it is. */
export async function storeSketch(
  { deliveryFolder, clip }: Pick<Job, 'deliveryFolder' | 'clip'>,
  profile: string,
  sketch: ErrorSketch,
): Promise<NonNullable<DeliverableReport['errorSketch']>> {
  const { bytes, digest } = await sketchFile(sketch);
  const path = layout.sketch(clip.id, profile, digest);
  await makeFolder(deliveryFolder, join(layout.reportsFolder(deliveryFolder), 'sketches'));
  await writeWhole(join(deliveryFolder, path), bytes);
  return { path, sha256: digest };
}
