/** What one check gave: of a deliverable, or of a clip's stills. */
import { z } from 'zod';

const checkStatuses = ['passed', 'failed'] as const;
/** What coding lost of the picture, as the check picture-error measures it. */
export const pictureErrorSchema = z.object({
  planes: z
    .array(
      z.object({
        plane: z.enum(["Y'", 'Cb', 'Cr']).describe('Which'),
        median: z.number().describe('PSNR of half of the frames is above this, decibels'),
        worst: z.number().describe('PSNR of the worst frame, decibels'),
        frame: z.int().nonnegative().describe('Which frame that is, counted from 0'),
        timecode: z.string().nullable().describe('Its timecode; null: there is none'),
        curve: z
          .array(z.number())
          .describe('PSNR over the clip, decibels: of equal parts of it, in order, the worst frame of each'),
      }),
    )
    .describe('By plane'),
});
export type PictureError = z.infer<typeof pictureErrorSchema>;

/** What the values of a master range over: of frames from their bytes on disk, of a movie from what the threads made for its encoder. */
export const valuesSchema = z.object({
  of: z.string().describe('What the values are'),
  channels: z
    .array(
      z.object({
        channel: z.enum(['R', 'G', 'B']).describe('Which'),
        least: z.number().describe('In all frames'),
        greatest: z.number().describe('In all frames'),
      }),
    )
    .describe('By channel'),
  atEnds: z
    .int()
    .nonnegative()
    .describe('Values at an end of what the form holds; of a movie those that were limited to it'),
  overWhite: z.int().nonnegative().describe('Pixels of which every channel is above scene-linear 1.0'),
  pixels: z.int().nonnegative().describe('Of all frames'),
});
export type ValuesMeasured = z.infer<typeof valuesSchema>;

/** One check that ran. A check that could not run is absent, and absent is failed (the gate). */
export const checkResultSchema = z.looseObject({
  check: z.string().describe('Name of the check (docs/glossary.md)'),
  status: z
    .enum(checkStatuses)
    .describe('passed or failed. A check that did not run is absent, and absent counts as failed'),
  measured: z.string().describe('What was measured, in words, with its unit'),
  expected: z.string().describe('What it should have been'),
  tool: z.string().describe('Program and version that measured'),
  unproven: z
    .array(z.tuple([z.int(), z.int()]))
    .optional()
    .describe('Frames, first and last, counted from 0, about which the check claims nothing of its own'),
  pictureError: pictureErrorSchema
    .optional()
    .describe('Of the check picture-error: what coding lost; absent: others'),
  values: valuesSchema
    .optional()
    .describe(
      'Of the check whole-frames of a master: what its values range over, of frames as they lie on disk, of a movie before coding; absent: others',
    ),
});
export type CheckResult = z.infer<typeof checkResultSchema>;
