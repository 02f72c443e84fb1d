/** A job: one unit of farm work. All profiles of one job are made from one decode of the clip's span. */
import { z } from 'zod';
import { clipFactsSchema } from '../media/facts.ts';
import { outcomeSchema } from '../profiles/outcome.ts';
import { profileSchema } from '../profiles/schema.ts';
import { clipSchema } from './clip.ts';

export const jobSchema = z.looseObject({
  version: z.literal(1),
  /** The night that asked for it; a worker drops jobs of a night that was superseded. */
  night: z.string(),
  run: z.string(),
  day: z.string(),
  roll: z.string(),
  /** Absolute folder of the roll, opened read-only. */
  rollFolder: z.string(),
  /** Absolute folder <delivery>/<day>/<roll>. */
  deliveryFolder: z.string(),
  clip: clipSchema,
  facts: clipFactsSchema,
  /** Frames [start, start + count) of the clip. */
  span: z.object({ start: z.int().nonnegative(), count: z.int().positive() }),
  deliverables: z
    .array(z.object({ profile: profileSchema, profileHash: z.string(), outcome: outcomeSchema }))
    .min(1),
  /** Toolchain fingerprint that the night was planned with; a worker with another one refuses. */
  toolchain: z.string(),
});
export type Job = z.infer<typeof jobSchema>;
