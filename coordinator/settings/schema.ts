/** The settings of a show: what nobody can measure of its clips. One YAML file for the night; a roll says more than its camera, a camera more than the show. */
import { z } from 'zod';
import { inputTransformSchema } from '../../media/colour/input.ts';
import { anchors, correctionChoices, whiteBalanceSchema } from '../../media/interpretation.ts';

const part = z.strictObject({
  input: inputTransformSchema
    .optional()
    .describe(
      'What the code values of movies and of DPX, TIFF and EXR frames mean: a named transform, a log curve with primaries, or a .cube or .clf file',
    ),
  raw: z
    .strictObject({
      white_balance: whiteBalanceSchema
        .optional()
        .describe('as-shot, neutral (camera values of a grey card), x and y, or kelvin and tint'),
      exposure_stops: z
        .number()
        .min(-10)
        .max(10)
        .optional()
        .describe('Added to what the file asks; 0: nothing'),
      anchor: z
        .enum(anchors)
        .optional()
        .describe(
          'sensor: a neutral at the clip level of the sensor is 1.0; metered: a grey card as the meter exposes it is 0.18, as log cameras have it',
        ),
      corrections: z
        .enum(correctionChoices)
        .optional()
        .describe(
          'Of lens and sensor, as the frames ask for them (opcodes of DNG): apply, or leave for whoever finishes the picture',
        ),
      decoder: z
        .string()
        .regex(/^[a-z0-9][a-z0-9-]{0,62}$/)
        .optional()
        .describe(
          'own, libraw, or the name of a declared decoder; own gives over to libraw where it does not take a compression',
        ),
    })
    .optional()
    .describe('Development of raw frames'),
  owner: z.string().max(200).optional().describe('Owner of the pictures, in the header of every frame'),
  comments: z.string().max(1000).optional().describe('Free text, in the header of every frame'),
});

export const settingsSchema = z.strictObject({
  version: z.literal(1).describe('Version of this file form'),
  show: part.optional().describe('For every clip'),
  cameras: z
    .record(z.string().regex(/^[A-Za-z]{1,3}$/), part)
    .optional()
    .describe('By the letters that the names of its rolls begin with: A for A001'),
  rolls: z.record(z.string().min(1), part).optional().describe('By the name of the roll'),
  decoders: z
    .array(z.string().min(1))
    .max(20)
    .optional()
    .describe('Files that declare decoders (docs/decoders.md), as seen from this file'),
});
export type SettingsPart = z.infer<typeof part>;
export type SettingsFile = z.infer<typeof settingsSchema>;
