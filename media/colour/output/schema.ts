/** The form of an output transform in settings, profiles and records. */
import { z } from 'zod';
import { displays, limitings, misfit, versions } from './displays.ts';
import { REFERENCE_WHITE, standardRange } from './placed-sdr.ts';

export const renderingSchema = z.strictObject({
  version: z
    .enum(versions)
    .describe('Of the ACES system. The two give different pictures; a show keeps to one of them'),
  peak: z.number().min(100).max(4000).describe("Luminance of the display's white, cd/m²"),
  limiting: z.enum(limitings).describe('Primaries that colours are kept within'),
});
export type Rendering = z.infer<typeof renderingSchema>;

export const outputTransformSchema = z
  .strictObject({
    rendering: renderingSchema.describe('What the transform renders for'),
    display: z.enum(displays).describe('Whose code values come out'),
  })
  .superRefine(({ rendering, display }, context) => {
    const message = misfit(rendering, display);
    if (message !== null) context.addIssue({ code: 'custom', path: ['rendering'], message });
  });
export type OutputTransform = z.infer<typeof outputTransformSchema>;

export const placedSchema = z.strictObject({
  placed: z
    .enum(standardRange)
    .describe(
      'What the recorded pictures are, of standard range: they look as on their own display, of sRGB or else of BT.1886 (ITU-R BT.2408-8, 5.1.2 and 5.1.3)',
    ),
  white: z.literal(REFERENCE_WHITE).describe('cd/m² that their white becomes (ITU-R BT.2408, Table 1)'),
  display: z.enum(['pq-bt2020', 'hlg-bt2020']).describe('In whose signal they are placed'),
});
