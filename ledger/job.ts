/** A job: one unit of farm work. All profiles of one job are made from one decode of the clip's span. */
import { z } from 'zod';
import { clipFactsSchema } from '../media/facts.ts';
import { amfSchema } from '../profiles/master/amf.ts';
import { masterOutcomeSchema } from '../profiles/master/outcome.ts';
import { masterSchema } from '../profiles/master/schema.ts';
import { outcomeSchema } from '../profiles/outcome.ts';
import { linearisationSchema } from '../profiles/master/linearisation.ts';
import type { AnyOutcome } from '../profiles/outcome/any.ts';
import { type AnyProfile, profileSchema } from '../profiles/schema.ts';
import { stillsOutcomeSchema } from '../profiles/stills/schema.ts';
import { clipSchema } from './clip.ts';

const movieWorkSchema = z.object({
  kind: z.literal('movie'),
  profile: profileSchema,
  profileHash: z.string(),
  outcome: outcomeSchema,
});
const framesWorkSchema = z.object({
  kind: z.literal('frames'),
  profile: masterSchema,
  profileHash: z.string(),
  outcome: masterOutcomeSchema,
});
const movieMasterWorkSchema = z.object({
  kind: z.literal('movie-master'),
  profile: masterSchema,
  profileHash: z.string(),
  outcome: outcomeSchema.extend({ linearisation: linearisationSchema, amf: amfSchema }),
});
const workSchema = z.discriminatedUnion('kind', [movieWorkSchema, framesWorkSchema, movieMasterWorkSchema]);
export type MovieWork = z.infer<typeof movieWorkSchema>;
/** A folder of frames. */
export type MasterWork = z.infer<typeof framesWorkSchema>;
/** A movie for grading: made from the frames of masters, checked as a movie. */
export type MovieMasterWork = z.infer<typeof movieMasterWorkSchema>;
export type Work = z.infer<typeof workSchema>;
/** Profile and outcome of one kind, as they were decided. Throws RangeError when they are of two. */
export function workOf(profile: AnyProfile, profileHash: string, outcome: AnyOutcome): Work {
  if (profile.kind === 'movie' && outcome.kind === 'movie')
    return { kind: 'movie', profile, profileHash, outcome };
  if (profile.kind === 'master' && outcome.kind === 'frames')
    return { kind: 'frames', profile, profileHash, outcome };
  if (
    profile.kind === 'master' &&
    outcome.kind === 'movie' &&
    outcome.linearisation !== null &&
    outcome.amf !== null
  )
    return {
      kind: 'movie-master',
      profile,
      profileHash,
      outcome: { ...outcome, linearisation: outcome.linearisation, amf: outcome.amf },
    };
  throw new RangeError(`an outcome of another kind than the profile ${profile.name}`);
}
export const isMasterWork = (work: Work): work is MasterWork => work.kind === 'frames';
export const isMovieMasterWork = (work: Work): work is MovieMasterWork => work.kind === 'movie-master';

/** A sound roll that the job reads, as it was verified. */
const soundRollSchema = z.object({
  roll: z.string(),
  /** Absolute, opened read-only. */
  folder: z.string(),
  /** Those of its files that are read. */
  files: z.array(z.object({ path: z.string(), bytes: z.int().nonnegative() })).min(1),
  /** Of these, as that of a clip. */
  contentDigest: z.string(),
  /** As that of the clip's files. */
  source: z.string(),
});
export type SoundRollOfJob = z.infer<typeof soundRollSchema>;

/** Where masters come after the proxies of all rolls: which of the two a job is of. */
export const waves = ['proxies', 'masters'] as const;
export type Wave = (typeof waves)[number];

export const jobSchema = z
  .looseObject({
    version: z.literal(0),
    /** The night that asked for it; a worker drops jobs of a night that was superseded. */
    night: z.string(),
    run: z.string(),
    day: z.string(),
    roll: z.string(),
    /** Absolute folder of the roll, opened read-only. */
    rollFolder: z.string(),
    /** Absolute folder <delivery>/<day>/<roll>. */
    deliveryFolder: z.string(),
    clip: clipSchema,
    facts: clipFactsSchema,
    /** What the system said of the clip's files when verification had read them (files/seen.ts, `seenDigest`); absent: sizes alone are known. */
    source: z.string().optional(),
    /** Sound rolls that the facts take tracks from; absent: none. */
    soundRolls: z.array(soundRollSchema).optional(),
    /** Frames [start, start + count) of the clip. */
    span: z.object({ start: z.int().nonnegative(), count: z.int().positive() }),
    /** Of a long clip: into how many segments it is cut. Without `segment`, the job joins them; absent: the clip is made whole. */
    segments: z.int().min(2).optional(),
    /** Which of them is made, counted from 0; its frames are `span`, and all else of the job speaks of the whole clip. */
    segment: z.int().nonnegative().optional(),
    deliverables: z.array(workSchema),
    /** Absent: all that is to be made of the clip. */
    wave: z.enum(waves).optional(),
    /** Made once the deliverables are; absent: none are to be made. */
    stills: stillsOutcomeSchema.optional(),
    /** toolchain digest that the night was planned with; a worker with another one refuses. */
    toolchain: z.string(),
    /** Machines that gave the job back for something that may be the machine's or the clip's: when a second one says the same, it is the clip's. */
    witnesses: z.array(z.object({ machine: z.string(), code: z.string() })).optional(),
    /** Id of the only machine that is fit for it: its own second word is enough. */
    sole: z.string().optional(),
  })
  .refine(({ deliverables, stills }) => deliverables.length > 0 || stills !== undefined, {
    message: 'a job that makes nothing',
  });
export type Job = z.infer<typeof jobSchema>;

/** Which job it is, for whoever speaks of it. */
export interface NamedJob {
  readonly roll: string;
  readonly clip: { readonly id: string; readonly name: string };
  readonly span: { readonly count: number };
  readonly wave?: Wave | undefined;
  /** Of a clip that is cut: into how many segments, and which of them it makes; without one it joins them. */
  readonly segments?: number | undefined;
  readonly segment?: number | undefined;
}

/** Of the jobs of one roll in one run: two of one clip are of two waves. */
export const jobKey = ({ clip, wave }: Pick<NamedJob, 'clip' | 'wave'>): string =>
  wave === undefined ? clip.id : `${wave}/${clip.id}`;
