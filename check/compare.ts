/** The deliverable's trail against the source's: done once, read by several checks. Pure. */
import { comparePictures, isComparable, type PictureVerdict } from '../media/trail/compare.ts';
import { type Basis, isMatrix } from '../media/trail/levels.ts';
import { compareSound } from '../media/trail/sound-compare.ts';
import type { SoundComparison } from '../media/trail/sound-difference.ts';
import type { SourceTrail } from '../media/trail/source-trail.ts';
import type { Outcome } from '../profiles/outcome.ts';
import { expectedSound, type WitnessFacts } from './witness.ts';

export interface Compared {
  /** null: one of the two trails is not there, or the profile leaves nothing of the picture to compare. */
  readonly picture: PictureVerdict | null;
  /** By sound track of the outcome. */
  readonly sounds: readonly (SoundComparison | null)[];
}

function basisOf(tags: { readonly matrix: string | null; readonly range: 'limited' | 'full' | null }): Basis | null {
  return tags.matrix !== null && tags.range !== null && isMatrix(tags.matrix) ? { matrix: tags.matrix, range: tags.range } : null;
}

export function compareTrails(witness: WitnessFacts | null, trail: SourceTrail | null, outcome: Outcome): Compared {
  if (witness === null || trail === null) return { picture: null, sounds: outcome.audio.map(() => null) };
  const sounds = outcome.audio.map((track, index) => {
    const expected = expectedSound(outcome, index, trail);
    const source = trail.sounds[track.sourceTrack] ?? null;
    const heard = witness.sounds[index] ?? null;
    return expected === null || source === null || heard === null ? null : compareSound(source, heard, expected);
  });
  const { proof } = outcome;
  const source = proof === undefined ? null : basisOf(proof.basis);
  const output = basisOf(outcome.colour);
  if (proof === undefined || source === null || output === null || witness.picture === null || !isComparable(proof.framing)) return { picture: null, sounds };
  const picture = comparePictures({ source: trail.picture, output: witness.picture, framing: proof.framing, coding: outcome.codec === 'h264' ? 'predicted' : 'intra', basis: { source, output }, fields: proof.earlierField === null ? null : { earlier: proof.earlierField, lines: proof.lines } });
  return { picture, sounds };
}
