/** The form of an output transform in settings, profiles and records. */
import { z } from 'zod';
import { displays, limitings, misfit, versions } from './displays.ts';

export const renderingSchema = z.strictObject({
  /** Of the ACES system. The two give different pictures; a show keeps to one of them. */
  version: z.enum(versions),
  /** Luminance of the display's white in cd/m². */
  peak: z.number().min(100).max(4000),
  limiting: z.enum(limitings),
});
export type Rendering = z.infer<typeof renderingSchema>;

export const outputTransformSchema = z
  .strictObject({ rendering: renderingSchema, display: z.enum(displays) })
  .superRefine(({ rendering, display }, context) => {
    const message = misfit(rendering, display);
    if (message !== null) context.addIssue({ code: 'custom', path: ['rendering'], message });
  });
export type OutputTransform = z.infer<typeof outputTransformSchema>;
