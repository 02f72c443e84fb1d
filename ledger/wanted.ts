/** What a deliverable must have been made from and with: the one question by which a report is about the work that is asked for. */
import { type AnyOutcome, decisionDigest, sameDecision } from '../profiles/outcome/any.ts';
import type { Job, Work } from './job.ts';
import type { DeliverableReport } from './report.ts';

export interface Wanted {
  /** SHA-256 of the clip's content, as it was verified. */
  readonly contentDigest: string;
  readonly profileHash: string;
  /** toolchain digest. */
  readonly toolchain: string;
  /** What must come out, or its digest: it rests on the clip, the profile, and of a master on the settings of the run as well. */
  readonly outcome: AnyOutcome | { readonly decision: string };
}

/** What this job asks of this deliverable of it. */
export function wantedOf(
  job: Pick<Job, 'clip' | 'toolchain'>,
  { profileHash, outcome }: Pick<Work, 'profileHash' | 'outcome'>,
): Wanted {
  return { contentDigest: job.clip.contentDigest, profileHash, toolchain: job.toolchain, outcome };
}

/** Why this report is about something else than what is wanted; null when it is about that. Pure. */
export function mismatchReason(report: DeliverableReport, wanted: Wanted): string | null {
  if (report.clip.contentDigest !== wanted.contentDigest) return 'made from other content';
  if (report.profileHash !== wanted.profileHash) return 'made with another profile';
  if (report.toolchain.digest !== wanted.toolchain) return 'made by another toolchain';
  if (!isDecision(report.outcome, wanted.outcome)) return 'decided otherwise, as with other settings';
  return null;
}

const isDecision = (made: AnyOutcome, wanted: Wanted['outcome']): boolean =>
  'decision' in wanted ? decisionDigest(made) === wanted.decision : sameDecision(made, wanted);
