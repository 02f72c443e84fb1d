/** The deliverable's trail against the source's: done once, read by several checks. Pure. */
import { comparePictures, isComparable, type PictureVerdict } from '../proof/compare.ts';
import { compareExact, type ExactVerdict } from '../proof/exact.ts';
import { CELLS, type PictureTrail } from '../proof/form.ts';
import { type Basis, isMatrix } from '../proof/levels.ts';
import { compareSound } from '../proof/sound-compare.ts';
import type { SoundComparison } from '../proof/sound-difference.ts';
import type { SourceTrail } from '../proof/source-trail.ts';
import type { Outcome } from '../profiles/outcome.ts';
import { expectedSound, type WitnessFacts } from './witness.ts';

export interface Compared {
  /** null: one of the two trails is not there, or the profile leaves nothing of the picture to compare. */
  readonly picture: PictureVerdict | null;
  /** By sound track of the outcome. */
  readonly sounds: readonly (SoundComparison | null)[];
  /** null: one of the two was not hashed, or in another layout. */
  readonly exact: ExactVerdict | null;
}

function basisOf(tags: {
  readonly matrix: string | null;
  readonly range: 'limited' | 'full' | null;
}): Basis | null {
  return tags.matrix !== null && tags.range !== null && isMatrix(tags.matrix)
    ? { matrix: tags.matrix, range: tags.range }
    : null;
}

export function compareTrails(
  witness: WitnessFacts | null,
  trail: SourceTrail | null,
  outcome: Outcome,
): Compared {
  if (witness === null || trail === null)
    return { picture: null, sounds: outcome.audio.map(() => null), exact: null };
  const sounds = outcome.audio.map((track, index) => {
    const expected = expectedSound(outcome, index, trail);
    const source = trail.sounds[track.sourceTrack] ?? null;
    const heard = witness.sounds[index] ?? null;
    return expected === null || source === null || heard === null
      ? null
      : compareSound(source, heard, expected);
  });
  const exact =
    trail.exact === undefined || witness.exact === null
      ? null
      : compareExact(
          trail.exact,
          witness.exact,
          outcome.audio.map((track) => track.sourceTrack),
        );
  const { proof } = outcome;
  const source = proof === undefined ? null : basisOf(proof.basis);
  // What is kept as it is has the levels of its source, whatever they are tagged as.
  const output = proof?.kept === true ? source : basisOf(outcome.colour);
  if (
    proof === undefined ||
    source === null ||
    output === null ||
    witness.picture === null ||
    !isComparable(proof.framing)
  )
    return { picture: null, sounds, exact };
  if (proof.kept === true)
    return {
      picture: comparePictures({
        source: firstViews(trail.picture),
        output: firstViews(witness.picture),
        framing: proof.framing,
        coding: 'intra',
        basis: { source, output },
        fields: null,
      }),
      sounds,
      exact,
    };
  const picture = comparePictures({
    source: trail.picture,
    output: witness.picture,
    framing: proof.framing,
    coding: outcome.codec === 'h264' ? 'predicted' : 'intra',
    basis: { source, output },
    fields: proof.earlierField === null ? null : { earlier: proof.earlierField, lines: proof.lines },
  });
  return { picture, sounds, exact };
}

/** Fields that are kept are compared by the earlier one of each frame; of both every sample is hashed. */
function firstViews({ frames, views, luma, colour }: PictureTrail): PictureTrail {
  if (views === 1) return { frames, views, luma, colour };
  const first = new Uint16Array(frames * CELLS);
  for (let frame = 0; frame < frames; frame += 1)
    first.set(luma.subarray(frame * views * CELLS, (frame * views + 1) * CELLS), frame * CELLS);
  return { frames, views: 1, luma: first, colour };
}
