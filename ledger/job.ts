/** A job: one unit of farm work. All profiles of one job are made from one decode of the clip's span. */
import { z } from 'zod';
import { clipFactsSchema } from '../media/facts.ts';
import { masterOutcomeSchema } from '../profiles/master/outcome.ts';
import { masterSchema } from '../profiles/master/schema.ts';
import { outcomeSchema } from '../profiles/outcome.ts';
import { wayToLightSchema } from '../profiles/master/way.ts';
import { type AnyOutcome, isMasterOutcome } from '../profiles/outcome/any.ts';
import { type AnyProfile, isMaster, profileSchema } from '../profiles/schema.ts';
import { clipSchema } from './clip.ts';

const movieSchema = z.object({ profile: profileSchema, profileHash: z.string(), outcome: outcomeSchema });
const masterWorkSchema = z.object({
  profile: masterSchema,
  profileHash: z.string(),
  outcome: masterOutcomeSchema,
});
const movieMasterSchema = z.object({
  profile: masterSchema,
  profileHash: z.string(),
  outcome: outcomeSchema.extend({ way: wayToLightSchema }),
});
export type MovieWork = z.infer<typeof movieSchema>;
/** A folder of frames. */
export type MasterWork = z.infer<typeof masterWorkSchema>;
/** A movie for grading: made from the frames of masters, checked as a movie. */
export type MovieMasterWork = z.infer<typeof movieMasterSchema>;
export type Work = MovieWork | MasterWork | MovieMasterWork;
/** Profile and outcome of one kind, as they were decided. */
export function workOf(profile: AnyProfile, profileHash: string, outcome: AnyOutcome): Work {
  if (isMaster(profile) && isMasterOutcome(outcome)) return { profile, profileHash, outcome };
  if (isMaster(profile) && !isMasterOutcome(outcome) && outcome.way !== undefined)
    return { profile, profileHash, outcome: { ...outcome, way: outcome.way } };
  if (!isMaster(profile) && !isMasterOutcome(outcome)) return { profile, profileHash, outcome };
  throw new RangeError(`an outcome of another kind than the profile ${profile.name}`);
}
export const isMasterWork = (work: Work): work is MasterWork => 'kind' in work.outcome;
export const isMovieMasterWork = (work: Work): work is MovieMasterWork =>
  'kind' in work.profile && !isMasterWork(work);

export const jobSchema = z.looseObject({
  version: z.literal(1),
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
  /** Frames [start, start + count) of the clip. */
  span: z.object({ start: z.int().nonnegative(), count: z.int().positive() }),
  deliverables: z.array(z.union([movieSchema, masterWorkSchema, movieMasterSchema])).min(1),
  /** Toolchain fingerprint that the night was planned with; a worker with another one refuses. */
  toolchain: z.string(),
});
export type Job = z.infer<typeof jobSchema>;

/** Of a job: what its movies and its folders of frames are. */
export const moviesOf = (job: Job): MovieWork[] =>
  job.deliverables.filter((work): work is MovieWork => !('kind' in work.profile));
export const mastersOf = (job: Job): MasterWork[] => job.deliverables.filter(isMasterWork);
