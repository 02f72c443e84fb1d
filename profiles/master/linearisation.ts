/** From code values of a source to linear AP0, as it was decided. */
import { z } from 'zod';
import { inputTransformSchema } from '../../media/colour/input.ts';
import { sitings } from '../../media/colour/siting.ts';
import { ranges, ycbcrMatrices } from '../../media/colour/ycbcr.ts';
import { anchors } from '../../media/interpretation.ts';
import { demosaicMethods } from '../../media/raw/demosaic/methods.ts';
import { highlightPolicies } from '../../media/raw/develop/policies.ts';
import { turns } from '../../media/raw/develop/turn.ts';

const triple = z.tuple([z.number(), z.number(), z.number()]);

export const linearisationSchema = z.discriminatedUnion('kind', [
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
    /** A declared decoder gives the codes, and `full` is 1.0 of those that are whole numbers, null where they are floats; null: ffmpeg does. */
    declared: z
      .object({ decoder: z.string(), version: z.string(), full: z.int().positive().nullable() })
      .nullable(),
    /** Our own code reads the files and gives the codes; null: ffmpeg or a declared decoder does. */
    reader: z.literal('own').nullable(),
  }),
  z.object({
    kind: z.literal('raw'),
    decoder: z.string(),
    /** null: our own, which the recipe of the toolchain stands for. */
    decoderVersion: z.string().nullable(),
    demosaic: z.enum(demosaicMethods),
    highlights: z.enum(highlightPolicies),
    /** Corrections that are made of frames which ask for them (raw/corrections/which.ts); empty: none. */
    corrections: z.array(z.string()),
    /** Degrees clockwise by which frames are turned; 0: they stand upright. */
    turn: z.literal(turns),
    /** true: left and right change places before they are turned. */
    mirrored: z.boolean(),
    /** Camera values of a neutral, the largest 1. */
    neutral: triple,
    /** Camera to AP0, rows; its product with `neutral` is grey. */
    matrix: z.tuple([triple, triple, triple]),
    anchor: z.enum(anchors),
    /** Factor on all values, anchor and baseline exposure included. */
    exposure: z.number().positive(),
    /** Of the white that was chosen, for the header and for people. */
    white: z.object({ x: z.number(), y: z.number(), kelvin: z.number(), tint: z.number() }),
  }),
]);
export type Linearisation = z.infer<typeof linearisationSchema>;
