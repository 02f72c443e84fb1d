/** Whether each field of a clip becomes a frame, and the clip as if it had been recorded so. Pure. */
import { type Finding, finding } from '../../findings/finding.ts';
import { type ClipFacts, earlierField } from '../../media/facts.ts';
import { multiplyRatios, type Rate, ratio } from '../../media/time/rate.ts';
import { layoutOf } from '../../proof/encoder-input/samples.ts';
import type { Split } from '../cadence.ts';
import { tiledPixels } from '../recipe/tiled-pixels.ts';
import type { Profile } from '../schema.ts';

/** Of fields: one goes by in half the time of a frame. */
export const rateOfFields = (rate: Rate): Rate => multiplyRatios(rate, ratio(2));

export type SplitDecision = { readonly split: Split | null } | { readonly findings: readonly Finding[] };

/** `isShown`: its pictures go a colour way. */
export function splitOf(
  { video }: Pick<ClipFacts, 'video'>,
  { interlaced }: Pick<Profile, 'interlaced'>,
  isShown: boolean,
): SplitDecision {
  const earlier = earlierField(video);
  if (earlier === null || interlaced !== 'split') return { split: null };
  const found = isShown
    ? 'fields of pictures that go a colour way'
    : layoutOf(tiledPixels(video.pixelFormat)) === null
      ? `fields of ${video.pixelFormat}`
      : null;
  return found === null
    ? { split: { earlier } }
    : {
        findings: [
          finding('fields-not-split', found, "fields of Y'CbCr or R'G'B' whose pictures stay as recorded"),
        ],
      };
}

/** As many frames as there are fields, at their rate. */
export const countedInFields = (facts: ClipFacts): ClipFacts => ({
  ...facts,
  video: { ...facts.video, rate: rateOfFields(facts.video.rate), frames: 2 * facts.video.frames },
});
