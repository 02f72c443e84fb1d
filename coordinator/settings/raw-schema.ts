/** What settings say of the development of raw frames. Nothing else of the settings is here. */
import { z } from 'zod';
import { anchors, correctionChoices, whiteBalanceSchema } from '../../media/interpretation.ts';

export const rawSettingsSchema = z.strictObject({
  white_balance: whiteBalanceSchema
    .optional()
    .describe('as-shot, neutral (camera values of a grey card), x and y, or kelvin and tint'),
  exposure_stops: z.number().min(-10).max(10).optional().describe('Added to what the file asks; 0: nothing'),
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
      'own, libraw, or the name of a declared decoder; own gives over to libraw where it does not take a compression. Not of a clip, nor of a camera that is known by what its files say: a decoder is chosen before they are read',
    ),
});
