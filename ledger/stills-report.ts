/** The record of a clip's stills, written whole by the worker that made them. */
import { z } from 'zod';
import { findingSchema } from '../findings/finding.ts';
import { stillsOutcomeSchema } from '../profiles/stills/schema.ts';
import { checkResultSchema } from './check-result.ts';
import { clipSchema } from './clip.ts';
import { stillsSpentSchema } from './spent.ts';
import { toolchainSchema } from './toolchain.ts';

/** What every record says of a still; where it is, each in its own words. */
export const stillFields = {
  frame: z.int().nonnegative().describe('Of the clip, counted from 0'),
  timecode: z.string().nullable().describe('Label of that frame; null: the clip has none'),
  width: z.int().positive().describe('Pixels'),
  height: z.int().positive().describe('Pixels'),
  bytes: z.int().positive().describe('Size'),
  sha256: z.string().describe('SHA-256, lower-case hex'),
};

export const stillsReportSchema = z.looseObject({
  version: z.literal(0).describe('0 until the form is settled'),
  kind: z.literal('stills').describe('stills'),
  day: z.string().describe('Name of the shoot day'),
  roll: z.string().describe('Name of the roll'),
  clip: clipSchema.describe('The source'),
  toolchain: toolchainSchema.describe('What they were made and measured with'),
  state: z
    .enum(['publishing', 'published', 'failed'])
    .describe(
      'publishing: checked, and not all of them are known to have their names; published: all have them; failed: there is none',
    ),
  outcome: stillsOutcomeSchema.describe('What had to come out, decided before they were made'),
  stills: z
    .array(
      z.object({
        ...stillFields,
        path: z.string().describe('Below the folder of the roll in the delivery'),
        xxh128: z.string().describe('XXH128, lower-case hex'),
      }),
    )
    .describe('Every one of them, in the order of the clip; none when failed'),
  supersedes: z
    .array(z.string())
    .optional()
    .describe('XXH128 of older stills of ours that may still have these names: only those are ever replaced'),
  checks: z.array(checkResultSchema).describe('Every check that ran'),
  findings: z.array(findingSchema).describe('What was found wrong, and notes'),
  startedAt: z.string().describe('ISO 8601, UTC; for people, never for decisions'),
  finishedAt: z.string().describe('ISO 8601, UTC; for people, never for decisions'),
  host: z.string().describe('Name of the machine, for people'),
  run: z.string().describe('`run` of the job that wrote it'),
  attempt: z.int().positive().describe('Which try at the job, from 1'),
  spent: stillsSpentSchema
    .optional()
    .describe(
      'How long their job and they took; absent: nothing was published, or an older version wrote it',
    ),
});
export type StillsReport = z.infer<typeof stillsReportSchema>;
export type StillOnRecord = StillsReport['stills'][number];
