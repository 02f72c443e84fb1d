/** What a pull goes by and what it comes to. */
import { z } from 'zod';
import { findingSchema } from '../../findings/finding.ts';
import { stretchSchema } from '../../ledger/clip.ts';
import { ratioSchema, timecodeSchema } from '../../media/time/schema.ts';

/** A clip of the day, as far as a cut can name it. */
export const pullClipSchema = z.object({
  roll: z.string().describe('Name of the roll'),
  clip: z.string().describe('Id of the clip in the roll'),
  name: z.string().describe('As the camera named it'),
  files: z
    .array(z.string())
    .describe('Names of its files, without folders; of numbered frames what stands before the number'),
  reels: z.array(z.string()).describe('Names that its reel goes by'),
  frames: z.int().positive().describe('How many it has'),
  start: timecodeSchema.describe('Of its first frame, as its proxies and masters have it'),
  rate: ratioSchema.describe('Frames a second, likewise'),
  fields: z
    .boolean()
    .optional()
    .describe(
      'Whether it is interlaced: a cut at twice its rate shows its fields, each as a frame; absent: it is not',
    ),
  slowed: z
    .boolean()
    .optional()
    .describe(
      'Whether it is interlaced and played at another rate than it was recorded at: nothing says whether a cut counts its frames or its fields; absent: it is not',
    ),
});
export type PullClip = z.infer<typeof pullClipSchema>;

export const pullRangeSchema = z.object({
  roll: z.string().describe('Name of the roll'),
  clip: z.string().describe('Id of the clip in the roll'),
  ...stretchSchema.shape,
});
export type PullRange = z.infer<typeof pullRangeSchema>;

export const pullUseSchema = z.object({
  at: z.string().describe('Where it stands in the cut'),
  roll: z.string().nullable().describe('Roll of the clip that it shows; null: it leads to none'),
  clip: z.string().nullable().describe('Id of that clip'),
  start: z
    .int()
    .nullable()
    .describe('First frame that it shows, counted from 0 in the clip, without handles; null: not known'),
  frames: z.int().nullable().describe('How many it shows; null: not known'),
  union: z
    .string()
    .optional()
    .describe(
      'How it runs backwards or changes its speed, in words: the frames are all that any reading of the cut needs; absent: a cut, or one speed forwards',
    ),
});
export type PullUse = z.infer<typeof pullUseSchema>;

export const pullRecordSchema = z.looseObject({
  version: z.literal(0).describe('0 until the form is settled'),
  kind: z.literal('pull').describe('pull'),
  day: z.string().describe('Name of the shoot day'),
  cut: z
    .object({
      file: z.string().describe('Its name, as it was given'),
      kept: z.string().describe('Name of its copy, beside this record'),
      sha256: z.string().describe('Of its bytes'),
      form: z.enum(['edl', 'otio']).describe('Form of the document'),
      title: z.string().describe('As it calls itself'),
    })
    .describe('The cut that was pulled for'),
  handles: z.int().nonnegative().describe('Frames that were asked for before and behind what is used'),
  rate: ratioSchema
    .nullable()
    .describe('That the labels of a list count in, as somebody stated it; null: nobody did'),
  rolls: z.array(z.string()).describe('Rolls of the day that were read, whether the cut uses them or not'),
  clips: z.array(pullClipSchema).describe('Every clip of these that could be measured'),
  uses: z.array(pullUseSchema).describe('What the cut uses, in its order'),
  ranges: z
    .array(pullRangeSchema)
    .describe('What is made of it, with handles: each a clip of the rolls beside this record'),
  findings: z
    .array(findingSchema)
    .describe('What the cut uses and the day lacks, and what could not be followed'),
});
export type PullRecord = z.infer<typeof pullRecordSchema>;
