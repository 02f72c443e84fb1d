/**
 * Timecode: a label for a frame number (SMPTE ST 12-1). A timecode here is the frame count since 00:00:00:00,
 * the label base (frames counted in one second of label) and whether labels are dropped.
 */
import { z } from 'zod';

export const timecodeSchema = z.object({
  /** Frames since 00:00:00:00 of the label's own counting (drop-frame already taken into account). */
  frame: z.int().nonnegative(),
  /** Label base: the rate rounded to a whole number. */
  base: z.int().positive(),
  drop: z.boolean(),
});
export type Timecode = z.infer<typeof timecodeSchema>;
