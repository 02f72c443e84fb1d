/**
 * Ratios and timecodes as they are read from files and messages. They stand apart from their arithmetic, which frame threads need: loading
 * the library of schemas would take each of them longer than several frames.
 */
import { z } from 'zod';

export const ratioSchema = z.object({ num: z.int().positive(), den: z.int().positive() });

export const timecodeSchema = z.object({
  /** Frames since 00:00:00:00 of the label's own counting (drop-frame already taken into account). */
  frame: z.int().nonnegative(),
  /** Label base: the rate rounded to a whole number. */
  base: z.int().positive(),
  drop: z.boolean(),
});
