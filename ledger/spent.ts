/**
 * How long the parts of a job took, and what ran beside it: in reports, so that the next night knows how long such a job takes.
 * Seconds are of the worker's own monotonic clock; no wall clock has a part in them.
 */
import { z } from 'zod';

/**
 * In this order, of a job. `claim`: may it be begun, and what is there already. `make`: one decode with all that is made from it, and what
 * is read beside it. Of each deliverable then `check` and `publish`; `stills` come last.
 */
export const jobParts = ['claim', 'make', 'check', 'publish', 'stills'] as const;
export type JobPart = (typeof jobParts)[number];

const seconds = z.number().nonnegative();

/** Of the job as a whole, as far as it has come when this is written. */
const ofJob = {
  machine: z.string().describe('Id of the machine that it was made on'),
  waited: seconds
    .nullable()
    .describe(
      'Seconds from the end of the job before it in the same place of the worker until this one was taken; null: it was the first, or nobody counted',
    ),
  beside: z
    .number()
    .nonnegative()
    .nullable()
    .describe('Other jobs on the machine meanwhile, the mean over its time; null: they could not be counted'),
  claim: seconds.describe('Seconds until it was known what is to be made'),
  make: seconds.describe('Seconds of decoding and encoding, with all that was made in the same decode'),
  job: seconds.describe('Seconds of the whole job, from when it was taken until this was written'),
};

export const spentSchema = z.object({
  ...ofJob,
  check: seconds.describe('Seconds of checking this deliverable'),
  publish: seconds.describe('Seconds from its checks until it had its final name'),
});
export type Spent = z.infer<typeof spentSchema>;

export const stillsSpentSchema = z.object({
  ...ofJob,
  stills: seconds.describe('Seconds of making, checking and publishing the stills'),
});
export type StillsSpent = z.infer<typeof stillsSpentSchema>;
