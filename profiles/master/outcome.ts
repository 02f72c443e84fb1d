/** How one clip must come out as a master, decided before anything runs, from facts and profile alone. */
import { z } from 'zod';
import { ratioSchema, timecodeSchema } from '../../media/time/schema.ts';
import { codeBits } from '../../media/colour/acescct.ts';
import { statedSchema } from '../../media/formats/stated-schema.ts';
import { cadenceSchema } from '../cadence.ts';
import { amfSchema } from './amf.ts';
import { exrCompressions, frameFormats } from './schema.ts';
import { linearisationSchema } from './linearisation.ts';
import { sourceNamesSchema } from './source-name.ts';

export const masterOutcomeSchema = z.object({
  kind: z.literal('frames').describe('A folder of frames'),
  format: z.enum(frameFormats).describe('Form of the frames'),
  compression: z.enum(exrCompressions).describe('Of OpenEXR; dwaa and dwab with loss; none: others'),
  dwaLevel: z.int().positive().nullable().describe('How much dwaa and dwab may lose; null: nothing is lost'),
  bits: z.literal(codeBits).nullable().describe('Of a code of DPX; null: no DPX'),
  fileName: z
    .string()
    .describe("The clip's folder in the profile's folder; of a stretch with its first and last number"),
  stem: z.string().describe('Frame n of the clip, from 0, is `<stem>.<first + n, zero-padded>.<extension>`'),
  extension: z.string().describe('Without the dot'),
  first: z.int().nonnegative().describe('Number of the first frame'),
  digits: z.int().positive().describe('Digits of the number, with zeros in front'),
  frames: z.int().positive().describe('How many'),
  stretch: z
    .object({
      start: z.int().nonnegative().describe('The first frame, counted from 0 in the clip'),
      of: z.int().positive().describe('Frames of the clip'),
    })
    .nullable()
    .describe('Which frames of the clip these are; null: all of them'),
  rate: ratioSchema.describe('Frames a second'),
  width: z.int().positive().describe('Pixels'),
  height: z.int().positive().describe('Pixels'),
  pixelAspect: ratioSchema.describe('Width of a pixel to its height'),
  timecode: timecodeSchema.describe('Of the first frame that is made'),
  cadence: cadenceSchema.describe('How it runs against the clip, and whose its timecode is'),
  reel: z.string().nullable().describe('null: none'),
  linearisation: linearisationSchema.describe('From code values or sensor values to scene-linear'),
  said: z
    .object({
      owner: z.string().nullable(),
      comments: z.string().nullable(),
      captured: z.string().nullable().describe('YYYY:MM:DD hh:mm:ss'),
      iso: z.number().nullable(),
      exposureSeconds: z.number().nullable(),
      whiteKelvin: z.number().nullable(),
      camera: z.string().nullable(),
      serial: z.string().nullable(),
    })
    .describe('Said in every frame; null: nothing is said'),
  amf: amfSchema.describe('The ACES Metadata File beside the frames, and what it says'),
  source: sourceNamesSchema.describe('What the frames say of the file that each was made from'),
  carried: statedSchema.shape.attributes.describe(
    'What else the source says and the frames say in their turn; empty: nothing',
  ),
  left: statedSchema.shape.left.describe(
    'What the source says and the frames have no place for; empty: nothing',
  ),
  frameBytes: z
    .int()
    .positive()
    .nullable()
    .describe('Bytes of a frame when nothing is compressed; null where the codec decides'),
  estimatedBytes: z
    .int()
    .positive()
    .describe(
      'What will be written: near to exact without compression; with it an estimate on the safe side, and the range it lies in',
    ),
  bytesRange: z.object({ least: z.int().positive(), most: z.int().positive() }),
});
export type MasterOutcome = z.infer<typeof masterOutcomeSchema>;
