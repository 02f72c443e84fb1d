/** How a run stands, as it writes it into its work folder every two seconds while it goes on: one truth for whatever shows it from outside. */
import { z } from 'zod';
import { forecastSchema } from './forecast.ts';
import { phases } from './run-progress.ts';

const count = z.int().nonnegative();

export const progressRecordSchema = z.looseObject({
  version: z.literal(0).describe('0 until the form is settled'),
  kind: z.literal('progress').describe('progress'),
  run: z.string().describe('The run of the night'),
  day: z.string().describe('Name of the shoot day'),
  since: z.string().describe('When it began, ISO 8601, UTC; for people'),
  at: z.string().describe('When this was written, likewise'),
  timeZone: z
    .string()
    .nullable()
    .describe('Of the show, by its name in the IANA Time Zone Database: times are shown in it. null: UTC'),
  framesPerSecond: z
    .number()
    .nonnegative()
    .nullable()
    .describe('Of all workers, over the last half minute; null: nothing is known'),
  freeBytes: count.nullable().describe('On the delivery; null: it does not answer'),
  rolls: z
    .array(
      z.object({
        roll: z.string().describe('Name of the roll'),
        phase: z.enum(phases).describe('What is done with it; ready or held at its end'),
        bytesRead: count.describe('Read so far to verify it'),
        bytesTotal: count.describe('Of all its copies'),
        clips: count.describe('Found in it'),
        clipsMeasured: count.describe('Of these, measured'),
        jobs: count.describe('Clips to be made'),
        jobsOver: count.describe('Of these, made and checked, or given up'),
        frames: count.describe('To be made; those of a clip that is decoded twice, twice'),
        framesMade: count.describe('Made so far'),
        afterwards: z
          .array(
            z.object({
              phase: z.enum(['check', 'publish']).describe('check: it is checked; publish: it gets its name'),
              frames: count.describe('Checked so far'),
              total: count.describe('To be checked'),
            }),
          )
          .describe('Clips whose frames are made, and that are not over'),
      }),
    )
    .describe('Every roll of the run, in its order'),
  working: z
    .array(
      z.object({
        roll: z.string().describe('Name of the roll'),
        clip: z.string().describe('Id of the clip'),
        phase: z.enum(['make', 'check', 'publish']).describe('What is done with it'),
        frames: count.describe('So far'),
        total: count.describe('In all'),
      }),
    )
    .describe('Clips that workers have in hand'),
  forecast: forecastSchema
    .nullable()
    .describe(
      'When rolls will be ready, from where this was written; null: nothing is to be made yet, or any more',
    ),
});
export type ProgressRecord = z.infer<typeof progressRecordSchema>;
