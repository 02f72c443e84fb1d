/** What one finished job teaches of the speed of a machine, and how it is read from the job's reports. Pure. */
import { z } from 'zod';
import { spentSchema, stillsSpentSchema } from '../../ledger/spent.ts';
import type { Kind } from './kind.ts';

const seconds = z.number().nonnegative().max(1e7);
const count = z.int().nonnegative().max(1e9);
const text = z.string().max(300);

export const jobSampleSchema = z.object({
  run: text.describe('The run that did it'),
  roll: text.describe('Name of the roll'),
  clip: text.describe('Id of the clip'),
  machine: text.describe('Id of the machine'),
  kind: z
    .object({
      codec: text.describe('Of the source'),
      width: count.describe('Of the source, pixels'),
      height: count.describe('Of the source, pixels'),
      profiles: z
        .array(
          z.object({
            name: text.describe('Name of the profile'),
            hash: text.describe('Its SHA-256, as in reports'),
          }),
        )
        .max(50)
        .describe('What was made of it, in one decode'),
      stills: count.describe('Pictures of a few frames that were made as well'),
    })
    .describe('What such jobs have in common'),
  frames: z.int().positive().max(1e9).describe('Of the clip'),
  waited: seconds.nullable().describe('As in reports'),
  beside: z.number().nonnegative().max(1e6).nullable().describe('As in reports'),
  parts: z
    .array(
      z.object({
        part: z.enum(['claim', 'make', 'check', 'publish', 'stills', 'rest']).describe('Part of the job'),
        profile: text.nullable().describe('Hash of the profile that it is of; null: of the whole job'),
        seconds: seconds.describe('By the monotonic clock of the worker'),
      }),
    )
    .max(150)
    .describe('Together the whole job'),
});
export type JobSample = z.infer<typeof jobSampleSchema>;

/** What of a report is learned from; everything else in it is left alone. */
export const finishedSchema = z.looseObject({
  run: z.string().optional(),
  state: z.string(),
  attempt: z.number(),
  spent: spentSchema.optional(),
});
export const finishedStillsSchema = z.looseObject({
  run: z.string(),
  state: z.string(),
  attempt: z.number(),
  spent: stillsSpentSchema.optional(),
});

/** A job as far as it is learned from. */
export interface LearnedJob {
  readonly run: string;
  readonly rollName: string;
  /** Its id. */
  readonly clip: string;
  readonly frames: number;
  readonly kind: Kind;
}

export interface FinishedReports {
  /** In the order of the kind's profiles; null: there is none that can be read. */
  readonly deliverables: readonly (z.infer<typeof finishedSchema> | null)[];
  readonly stills: z.infer<typeof finishedStillsSchema> | null;
}

/** null: it was not made whole in one go on one machine, or its reports do not say how long it took. */
export function sampleOf(
  { run, rollName, clip, frames, kind }: LearnedJob,
  { deliverables, stills }: FinishedReports,
): JobSample | null {
  const isOwn = (report: {
    readonly run?: string | undefined;
    readonly state: string;
    readonly attempt: number;
  }): boolean => report.run === run && report.state === 'published' && report.attempt === 1;
  const spent = deliverables.flatMap((report, index) =>
    report?.spent !== undefined && isOwn(report)
      ? [{ hash: kind.profiles[index]?.hash ?? '', ...report.spent }]
      : [],
  );
  const ofStills = stills !== null && isOwn(stills) ? stills.spent : undefined;
  if (spent.length !== kind.profiles.length || (kind.stills > 0 && ofStills === undefined)) return null;
  const all = [...spent, ...(ofStills === undefined ? [] : [ofStills])];
  // What is written last knows the whole job.
  const last = all.toSorted((a, b) => a.job - b.job).at(-1);
  if (last === undefined || all.some(({ machine }) => machine !== last.machine)) return null;
  const parts: JobSample['parts'] = [
    { part: 'claim', profile: null, seconds: last.claim },
    { part: 'make', profile: null, seconds: last.make },
    ...spent.flatMap(({ hash, check, publish }) => [
      { part: 'check' as const, profile: hash, seconds: check },
      { part: 'publish' as const, profile: hash, seconds: publish },
    ]),
    ...(ofStills === undefined ? [] : [{ part: 'stills' as const, profile: null, seconds: ofStills.stills }]),
  ];
  const named = parts.reduce((sum, part) => sum + part.seconds, 0);
  return {
    ...{ run, roll: rollName, clip, machine: last.machine, frames, waited: last.waited, beside: last.beside },
    kind: { ...kind, profiles: kind.profiles.map((profile) => ({ ...profile })) },
    parts: [...parts, { part: 'rest', profile: null, seconds: Math.max(0, last.job - named) }],
  };
}

export const wholeSeconds = ({ parts }: Pick<JobSample, 'parts'>): number =>
  parts.reduce((sum, { seconds: one }) => sum + one, 0);

/** A job finished twice teaches once. */
export const sampleKey = ({ run, roll, clip, kind }: JobSample): string =>
  JSON.stringify([run, roll, clip, kind.profiles.map(({ hash }) => hash)]);
