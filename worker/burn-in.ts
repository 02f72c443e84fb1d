/** What compares the burnt-in text of each movie with what its frames must show, while they are made; and what is said of it. */
import { drawnTextReport } from '../check/burn-in.ts';
import type { WhileMadeReport } from '../check/while-made.ts';
import type { Job, MovieWork } from '../ledger/job.ts';
import { pixelsForFfmpeg } from '../profiles/ffmpeg-names.ts';
import { burnInFace } from '../proof/text/burn-in-font.ts';
import { TextComparer, type TextVerdict } from '../proof/text/compare.ts';
import { layoutOf } from '../proof/encoder-input/samples.ts';
import { subjectOf } from './claim.ts';

/** By output; null: it has no text. */
export function textComparers(outputs: readonly MovieWork[]): (TextComparer | null)[] {
  return outputs.map(({ profile, outcome }) => {
    const { burnIn, width, height } = outcome;
    if (burnIn.length === 0) return null;
    const layout = layoutOf(pixelsForFfmpeg(profile.pixels));
    if (layout === null) throw new RangeError(`text in ${profile.pixels}`);
    return new TextComparer({
      burntIn: burnIn,
      picture: { width, height },
      layout,
      font: burnInFace(),
      transfer: outcome.colour.transfer,
    });
  });
}

/** null: no text is burnt in. */
export function drawnTextOf(
  job: Job,
  { profile, outcome }: MovieWork,
  seen: TextVerdict | null,
): WhileMadeReport | null {
  if (outcome.burnIn.length === 0) return null;
  return drawnTextReport(seen, outcome.frames, { ...subjectOf(job), profile: profile.name });
}
