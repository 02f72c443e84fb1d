/** The reel name that a deliverable carries, by the policy of its profile. */
import type { ClipFacts } from '../../media/facts.ts';
import type { Profile } from '../schema.ts';
import { reelText } from './file-name.ts';

/** The reel of the source, or the roll where the camera wrote none: what {reel} and a burnt-in reel say. */
export function reelOfSource(facts: ClipFacts, roll: string): string {
  const reel = reelText(facts.reel ?? '');
  return reel === '' ? reelText(roll) : reel;
}

/** null: none is written. */
export function reelOf(
  policy: Profile['reel'],
  {
    facts,
    roll,
    clip,
  }: { readonly facts: ClipFacts; readonly roll: string; readonly clip: { readonly name: string } },
): string | null {
  if (policy === 'none') return null;
  if (policy === 'clip') return reelText(clip.name);
  return policy === 'roll' ? reelText(roll) : reelOfSource(facts, roll);
}
