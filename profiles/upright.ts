/** What is said of clips whose pictures cannot be made upright. Pure. */
import { type Finding, finding } from '../findings/finding.ts';
import type { ClipFacts } from '../media/facts.ts';
import { turnOf, turnText, whyNotUpright } from '../media/upright.ts';

/** null: they stand upright, or are made so. */
export function lyingFinding({ raw, video }: Pick<ClipFacts, 'raw' | 'video'>): Finding | null {
  const why = raw === undefined ? whyNotUpright(video) : null;
  return why === null
    ? null
    : finding(
        'clip-rotation-unsupported',
        `${why}, to be ${turnText(turnOf(video))}`,
        'pictures whose samples can be moved to where they are seen',
      );
}
