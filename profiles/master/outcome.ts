/** How one clip must come out as a master, decided before anything runs, from facts and profile alone. */
import { z } from 'zod';
import { inputTransformSchema } from '../../media/colour/input.ts';
import { sitings } from '../../media/colour/siting.ts';
import { ranges, ycbcrMatrices } from '../../media/colour/ycbcr.ts';
import { demosaicMethods } from '../../media/raw/demosaic/methods.ts';
import { highlightPolicies } from '../../media/raw/develop/policies.ts';
import { ratioSchema } from '../../media/rate.ts';
import { timecodeSchema } from '../../media/timecode.ts';
import { masterForms } from './schema.ts';

const triple = z.tuple([z.number(), z.number(), z.number()]);

/** From code values to linear AP0. */
export const wayToLightSchema = z.discriminatedUnion('kind', [
  z.object({
    kind: z.literal('coded'),
    input: inputTransformSchema,
    /** ffprobe's names of what the decoder gives. */
    pixelFormat: z.string(),
    /** null: RGB. */
    matrix: z.enum(ycbcrMatrices).nullable(),
    range: z.enum(ranges),
    /** Where chroma samples lie, ffprobe's name; null: chroma is not subsampled. */
    siting: z.enum(sitings).nullable(),
  }),
  z.object({
    kind: z.literal('raw'),
    decoder: z.string(),
    demosaic: z.enum(demosaicMethods),
    highlights: z.enum(highlightPolicies),
    /** Camera values of a neutral, the largest 1. */
    neutral: triple,
    /** Camera to AP0, rows; its product with `neutral` is grey. */
    matrix: z.tuple([triple, triple, triple]),
    /** Factor on all values, baseline exposure included. */
    exposure: z.number().positive(),
    /** Of the white that was chosen, for the header and for people. */
    white: z.object({ x: z.number(), y: z.number(), kelvin: z.number(), tint: z.number() }),
  }),
]);
export type WayToLight = z.infer<typeof wayToLightSchema>;

export const masterOutcomeSchema = z.object({
  kind: z.literal('master'),
  form: z.enum(masterForms),
  compression: z.enum(['none', 'zip']),
  /** The clip's folder in the profile's folder; for a movie the file. */
  fileName: z.string(),
  /** Frame n of the clip, from 0, is `<stem>.<first + n, zero-padded>.<extension>`. */
  stem: z.string(),
  extension: z.string(),
  first: z.int().nonnegative(),
  digits: z.int().positive(),
  frames: z.int().positive(),
  rate: ratioSchema,
  width: z.int().positive(),
  height: z.int().positive(),
  pixelAspect: ratioSchema,
  timecode: timecodeSchema,
  reel: z.string().nullable(),
  way: wayToLightSchema,
  /** Said in every frame; null: nothing is said. */
  said: z.object({
    owner: z.string().nullable(),
    comments: z.string().nullable(),
    /** YYYY:MM:DD hh:mm:ss */
    captured: z.string().nullable(),
    iso: z.number().nullable(),
    exposureSeconds: z.number().nullable(),
    whiteKelvin: z.number().nullable(),
    camera: z.string().nullable(),
    serial: z.string().nullable(),
  }),
  /** Bytes of a frame when nothing is compressed; null where the codec decides. */
  frameBytes: z.int().positive().nullable(),
  /** What will be written: near to exact without compression; with it an estimate on the safe side, and the range it lies in. */
  estimatedBytes: z.int().positive(),
  bytesRange: z.object({ least: z.int().positive(), most: z.int().positive() }),
});
export type MasterOutcome = z.infer<typeof masterOutcomeSchema>;

/** File name of frame `index`, counted from 0. */
export function frameFileName({ stem, first, digits, extension }: Pick<MasterOutcome, 'stem' | 'first' | 'digits' | 'extension'>, index: number): string {
  return `${stem}.${String(first + index).padStart(digits, '0')}.${extension}`;
}
