/** What the facts of a raw clip hold besides those of every clip. */
import { z } from 'zod';
import { declarationSchema } from './declaration.ts';
import { rawCameraSchema, rawPictureSchema } from './formats/dng/header.ts';

export const rawFactsSchema = z.object({
  /** The same in every frame. */
  picture: rawPictureSchema,
  /** Of the first frame. */
  camera: rawCameraSchema,
  /** Corrections that some frame asks for, each once; absent: none does. */
  corrections: z
    .array(
      z.object({
        /** With its list: `GainMap (list 2)`. */
        name: z.string(),
        /** Whoever does not make it may pass over it. */
        optional: z.boolean(),
        /** Why it cannot be made here; null: it can. */
        why: z.string().nullable(),
      }),
    )
    .optional(),
  /** Which decoder has decoded the first frame, and is to decode the others; `declaration` when somebody declared it. */
  decoder: z.object({ name: z.string(), version: z.string(), declaration: declarationSchema.optional() }),
});
export type RawFacts = z.infer<typeof rawFactsSchema>;
