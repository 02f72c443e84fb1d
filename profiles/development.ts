/** How raw frames are developed, for masters and for pictures that are looked at alike. */
import { z } from 'zod';
import { demosaicMethods } from '../media/raw/demosaic/methods.ts';
import { highlightPolicies } from '../media/raw/develop/policies.ts';

export const developmentSchema = z
  .strictObject({
    demosaic: z
      .enum(demosaicMethods)
      .describe(
        'How the colours that a sensor did not see are found; linear: 5x5 of Malvar, He, Cutler 2004; fine: directional, slower and better; half: one pixel for each block of 2x2, half as wide and high',
      ),
    highlights: z
      .enum(highlightPolicies)
      .describe(
        'Where a channel of the sensor is full; by-channel: it alone is raised towards grey, so that white is white and lamps keep their colour; neutral: all channels are, as soon as one is full; keep: as the sensor held it, for whoever reconstructs it',
      ),
  })
  .describe('Raw sources alone');
export type Development = z.infer<typeof developmentSchema>;
