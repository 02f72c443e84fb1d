/** How one clip must come out as a master, decided before anything runs, from facts and profile alone. */
import { z } from 'zod';
import { ratioSchema, timecodeSchema } from '../../media/time/schema.ts';
import { frameFormats } from './schema.ts';
import { linearisationSchema } from './linearisation.ts';

export const masterOutcomeSchema = z.object({
  /** A folder of frames. */
  kind: z.literal('frames'),
  format: z.enum(frameFormats),
  compression: z.enum(['none', 'zip']),
  /** The clip's folder in the profile's folder. */
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
  linearisation: linearisationSchema,
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
