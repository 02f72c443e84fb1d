/** The deliverable's fingerprints against the source's: done once, read by several checks. Pure. */
import { h264Plain, h265Plain, mostLost } from '../proof/sketch/most-lost.ts';
import { comparePictureError, type PictureErrorVerdict, type Reference } from '../proof/sketch/verdict.ts';
import type { ErrorSketch } from '../proof/sketch/form.ts';
import type { PlainLimits } from '../proof/sketch/plain-faults.ts';
import { comparePictures, isComparable, type PictureVerdict } from '../proof/compare.ts';
import { compareExact, type ExactVerdict } from '../proof/exact.ts';
import { CELLS, COLOUR_CELLS, type FrameFingerprints } from '../proof/form.ts';
import { shownByLists } from './grid.ts';
import { type Basis, isMatrix } from '../proof/levels.ts';
import { compareAudio } from '../proof/audio-compare.ts';
import type { AudioComparison } from '../proof/audio-difference.ts';
import type { SourceFingerprints } from '../proof/source-fingerprints.ts';
import type { Outcome } from '../profiles/outcome.ts';
import { expectedAudio, type WitnessFacts } from './witness.ts';

/** Frames are predicted from others, and the encoder states what it lost. */
const isPredicted = (codec: string): boolean => codec === 'h264' || codec === 'h265';

export interface Compared {
  /** null: one of the two fingerprints are not there, or the profile leaves nothing of the picture to compare. */
  readonly picture: PictureVerdict | null;
  /** By audio track of the outcome. */
  readonly audioTracks: readonly (AudioComparison | null)[];
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

/** null: nothing is known that the codec's loss could be held against. */
function referenceOf(
  witness: WitnessFacts | null,
  codec: string,
  codecProfile: string | null,
): 'stated' | (Exclude<Reference, 'stated'> & { readonly plain: PlainLimits }) | null {
  if (isPredicted(codec)) return 'stated';
  const quantisers = witness?.quantisers ?? null;
  const most = mostLost(codecProfile);
  return quantisers === null || most === null ? null : { ...quantisers, most, plain: most.plain };
}

/** null: one of the two sketches is not there, or they are of other frames or regions. */
export function compareSketches(
  witness: WitnessFacts | null,
  sketch: ErrorSketch | null,
  { pictureError, pixelFormat, codec, codecProfile, width, height }: Outcome,
): PictureErrorVerdict | null {
  const values = witness?.sketch ?? null;
  const reference = referenceOf(witness, codec, codecProfile);
  if (
    sketch === null ||
    values === null ||
    reference === null ||
    pictureError === null ||
    sketch.width !== width ||
    sketch.height !== height ||
    sketch.grid.columns !== pictureError.columns ||
    sketch.grid.rows !== pictureError.rows
  )
    return null;
  return comparePictureError({
    input: sketch,
    output: { pixelFormat, values },
    leastPsnr: pictureError.leastPsnr,
    reference,
    plain: reference !== 'stated' ? reference.plain : codec === 'h265' ? h265Plain : h264Plain,
  });
}

export function compareFingerprints(
  witness: WitnessFacts | null,
  fingerprints: SourceFingerprints | null,
  outcome: Outcome,
): Compared {
  if (witness === null || fingerprints === null)
    return { picture: null, audioTracks: outcome.audio.map(() => null), exact: null };
  const audioTracks = outcome.audio.map((track, index) => {
    const expected = expectedAudio(outcome, index, fingerprints);
    const source = fingerprints.audioTracks[track.sourceTrack] ?? null;
    const heard = witness.audioTracks[index] ?? null;
    return expected === null || source === null || heard === null
      ? null
      : compareAudio(source, heard, expected);
  });
  const exact =
    fingerprints.exact === undefined || witness.exact === null
      ? null
      : compareExact(
          fingerprints.exact,
          witness.exact,
          outcome.audio.map((track) => track.sourceTrack),
        );
  const { proof } = outcome;
  const source = basisOf(proof.basis);
  // What is kept as it is has the levels of its source, whatever they are tagged as.
  const output = proof.kept ? source : basisOf(outcome.colour);
  if (source === null || output === null || !isComparable(proof.framing))
    return { picture: null, audioTracks, exact };
  if (proof.kept)
    return {
      picture: comparePictures({
        source: firstViews(fingerprints.picture),
        output: firstViews(witness.picture),
        framing: proof.framing,
        coding: 'intra',
        basis: { source, output },
        fields: null,
      }),
      audioTracks,
      exact,
    };
  const picture = comparePictures({
    source: onGrid(fingerprints.picture, outcome.cadence.constant),
    output: witness.picture,
    framing: proof.framing,
    coding: isPredicted(outcome.codec) ? 'predicted' : 'intra',
    basis: { source, output },
    fields: proof.earlierField === null ? null : { earlier: proof.earlierField, lines: proof.lines },
  });
  return { picture, audioTracks, exact };
}

/** Of a clip that was laid on a grid: the frame that the outcome names for each instant. Whether those are the right ones, the check `frames` asks the clip. */
function onGrid(picture: FrameFingerprints, grid: Outcome['cadence']['constant']): FrameFingerprints {
  if (grid === null) return picture;
  const shown = shownByLists(picture.frames, grid);
  const { luma, colour } = picture;
  const cells = CELLS * picture.views;
  const laid = (values: Uint16Array, of: number): Uint16Array => {
    const out = new Uint16Array(shown.length * of);
    for (const [instant, frame] of shown.entries())
      out.set(values.subarray(frame * of, (frame + 1) * of), instant * of);
    return out;
  };
  return {
    frames: shown.length,
    views: picture.views,
    luma: laid(luma, cells),
    colour: colour === null ? null : laid(colour, 2 * COLOUR_CELLS),
  };
}

/** Fields that are kept are compared by the earlier one of each frame; of both every sample is hashed. */
function firstViews({ frames, views, luma, colour }: FrameFingerprints): FrameFingerprints {
  if (views === 1) return { frames, views, luma, colour };
  const first = new Uint16Array(frames * CELLS);
  for (let frame = 0; frame < frames; frame += 1)
    first.set(luma.subarray(frame * views * CELLS, (frame * views + 1) * CELLS), frame * CELLS);
  return { frames, views: 1, luma: first, colour };
}
