/** The error sketches that a command takes of what its encoders are given: behind every filter, at the last pad before the encoder. */
import { join } from 'node:path';
import { maskPicture } from '../../proof/sketch/mask.ts';
import type { SketchForm } from '../../proof/sketch/form.ts';
import { maskInput, sketchChains } from '../../proof/sketch/tap.ts';
import { rawPictures } from '../../proof/tap.ts';
import { sketchFormOf } from '../outcome/picture-error.ts';
import type { Outcome } from '../outcome.ts';

/** A picture of the mask, to be written before the command runs. */
export interface MaskFile {
  readonly path: string;
  readonly form: SketchForm;
}

export interface SketchTap {
  readonly mask: MaskFile;
  readonly inputArguments: readonly string[];
  /** Between the filters and the encoder: the first pad takes the pictures, the second gives them on. */
  readonly chainsOf: (from: string, to: string) => readonly string[];
  /** Output options; the target is a pipe. */
  readonly options: readonly string[];
}

/** null: the deliverable loses nothing. `input`: number of the mask among the command's inputs; `key` keeps files and pads of several deliverables apart. */
export function sketchTap({
  outcome,
  encodedAs,
  input,
  folder,
  key,
}: {
  readonly outcome: Outcome;
  /** By ffmpeg's name. */
  readonly encodedAs: string;
  readonly input: number;
  readonly folder: string;
  readonly key: string;
}): SketchTap | null {
  const form = sketchFormOf(outcome, encodedAs);
  if (form === null) return null;
  const pad = `sketch${key}`;
  const mask = { path: join(folder, `mask-${key}.raw`), form };
  return {
    mask,
    inputArguments: maskInput(mask.path, form),
    chainsOf: (from, to) => [
      `[${from}]split=2[${to}][${pad}-taken]`,
      ...sketchChains({ from: `${pad}-taken`, to: pad, maskInput: input, form }),
    ],
    options: rawPictures(pad),
  };
}

export const maskBytes = (seed: string, { form }: MaskFile): Buffer => maskPicture(seed, form);
