/** What is said of the black around a movie's picture, as its encoder was given it. */
import { barsReport } from '../check/bars.ts';
import type { WhileMadeReport } from '../check/while-made.ts';
import type { Job, MovieWork } from '../ledger/job.ts';
import { pixelsForFfmpeg } from '../profiles/ffmpeg-names.ts';
import { subjectOf } from './claim.ts';

/** null: there is nothing around it. */
export function barsOf(
  job: Job,
  { profile, outcome }: MovieWork,
  seen: readonly Buffer[] | null,
): WhileMadeReport | null {
  if (outcome.proof.framing.inset === null) return null;
  return barsReport(
    seen,
    { outcome, pixelFormat: pixelsForFfmpeg(profile.pixels) },
    { ...subjectOf(job), profile: profile.name },
  );
}
