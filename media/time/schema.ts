/**
 * Ratios and timecodes as they are read from files and messages. They stand apart from their arithmetic, which frame threads need: loading
 * the library of schemas would take each of them longer than several frames.
 */
import { z } from 'zod';

export const ratioSchema = z.object({
  num: z.int().positive().describe('Numerator'),
  den: z.int().positive().describe('Denominator'),
});

export const timecodeSchema = z.object({
  frame: z
    .int()
    .nonnegative()
    .describe("Frames since 00:00:00:00 of the label's own counting (drop-frame already taken into account)"),
  base: z.int().positive().describe('Label base: the rate rounded to a whole number'),
  drop: z.boolean().describe('Labels are dropped to keep up with the clock (SMPTE ST 12-1)'),
});
