/** A take of a sound recorder, and the clips of the day that ran while it was recorded. */
import { z } from 'zod';

const clipBesideSchema = z.object({
  roll: z.string().describe('Roll of the clip'),
  clip: z.string().describe('Its id'),
  startSamples: z
    .int()
    .describe(
      'Samples of the recording from the first frame of the clip to its own first sample; negative: it began before the clip',
    ),
  overlapSamples: z.int().positive().describe('Samples that lie beside frames of the clip'),
  heard: z
    .object({
      startSamples: z.int().describe("The same start, as the clip's own audio has it"),
      driftMillionths: z
        .number()
        .describe("By how many millionths the recorder counted more samples than the clip's audio"),
      parts: z
        .int()
        .positive()
        .describe(
          'At how many places of the take they were surely heard in both, and agreed; older records have 1',
        ),
    })
    .nullable()
    .describe('By what both heard; null: they were not compared, or heard nothing alike'),
  apart: z
    .array(
      z.object({
        seconds: z.number().describe('Of the clip'),
        startSamples: z.int().describe('The start, as it is heard there'),
      }),
    )
    .optional()
    .describe('Where both were surely heard and did not agree: each place; absent: nowhere'),
  whyNotHeard: z.string().nullable().describe('Why `heard` is null; null: it is not'),
});
export type ClipBeside = z.infer<typeof clipBesideSchema>;

export const recordingSchema = z.object({
  files: z
    .array(z.string())
    .min(1)
    .describe('One file, or one a track, in the order of the tracks; relative to the roll'),
  sampleRate: z.int().positive().describe('Samples a second'),
  bits: z.int().positive().describe('Of a sample, as it is stored'),
  coding: z.enum(['integer', 'float']).optional().describe('What its samples are; older records lack it'),
  channels: z.int().positive().describe('Of all its files together'),
  samples: z.int().nonnegative().describe('Of each channel'),
  since: z
    .string()
    .nullable()
    .describe(
      'Time of its first sample since midnight, in samples, digits of a whole number; null: the file does not say',
    ),
  sinceRate: z.int().positive().describe('How many of these are a second'),
  scene: z.string().nullable().describe('As the recorder says; null: it does not'),
  take: z.string().nullable().describe('As the recorder says; null: it does not'),
  tape: z.string().nullable().describe('Sound roll as the recorder says; null: it does not'),
  note: z.string().nullable().describe('As the recorder says; null: it does not'),
  circled: z.boolean().describe('Marked by the recordist as the one to use'),
  wild: z.boolean().describe('The recorder says that it was recorded without picture'),
  tracks: z
    .array(
      z.object({
        channel: z.int().positive().describe('From 1, over all files'),
        name: z.string().nullable().describe('As the recorder names it; null: it does not'),
        file: z
          .string()
          .optional()
          .describe('The file that it is in, relative to the roll; older records lack it'),
        inFile: z
          .int()
          .positive()
          .optional()
          .describe('Which channel of that file, from 1; older records lack it'),
      }),
    )
    .describe('Every channel'),
  clips: z
    .array(clipBesideSchema)
    .describe('Clips of the day that it ran with, by its time and their timecode, in order of roll and clip'),
});
export type Recording = z.infer<typeof recordingSchema>;
