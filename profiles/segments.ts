/**
 * A long clip in segments: runs of whole frames, each made by itself and joined without encoding again. Which clips that is possible for, where the
 * segments lie, and what one of them is asked for: what is asked for of the whole clip, cut. Pure.
 */
import { type ClipFacts, earlierField } from '../media/facts.ts';
import { addFrames } from '../media/time/timecode.ts';
import type { Words } from '../proof/text/form.ts';
import type { Outcome } from './outcome.ts';
import type { AnyOutcome } from './outcome/any.ts';

/** Frames [start, start + frames) of a clip. */
export interface Segment {
  readonly start: number;
  readonly frames: number;
}

/** Equal ones, but for a frame. Throws RangeError for more segments than frames. */
export function segmentsOf(frames: number, of: number): Segment[] {
  if (of < 1 || of > frames) throw new RangeError(`${of} segments of ${frames} frames`);
  const from = (index: number): number => Math.floor((frames * index) / of);
  return Array.from({ length: of }, (_, index) => ({
    start: from(index),
    frames: from(index + 1) - from(index),
  }));
}

/** Codecs whose packets depend on their own frame alone, with our options: what a frame before it was changes no bit (measured, docs/mechanisms/segments.md). */
const CUT_CODECS: readonly string[] = ['vc3', 'rdd36', 'ffv1'];

/** Whether a deliverable can be put together from segments. */
export function mayBeJoined(outcome: AnyOutcome): outcome is Outcome {
  return (
    outcome.kind === 'movie' &&
    CUT_CODECS.includes(outcome.codec) &&
    outcome.linearisation === null &&
    outcome.shown === null &&
    outcome.contentLight === null &&
    outcome.cadence.constant === null &&
    outcome.cadence.split === null
  );
}

/** Whether the frames of a clip can be taken up in its middle, and told by their times: one movie at one rate, whole frames, decoded by ffmpeg. */
export function mayBeEntered({ video, raw, declared, exr, parts }: ClipFacts): boolean {
  return (
    raw === undefined &&
    declared === undefined &&
    exr === undefined &&
    parts === undefined &&
    video.rateConstant &&
    video.stepsInOrder === undefined &&
    earlierField(video) === null
  );
}

/** Of a segment, what is known of its clip: the pictures alone, since audio is made once, by the join. */
export function segmentFacts(facts: ClipFacts, { frames }: Segment): ClipFacts {
  return { ...facts, audio: [], video: { ...facts.video, frames } };
}

/** Words of the text in frame k of a segment are those of frame start + k of the whole. Throws RangeError where each field of a frame is one: it is not cut. */
function segmentWords(words: Words, start: number): Words {
  if (words.kind === 'same') return words;
  if (words.kind === 'timecode') return { ...words, start: addFrames(words.start, start) };
  if (words.each !== 1) throw new RangeError('a segment of split fields');
  return { ...words, start: words.start + start };
}

/** What a segment is asked for: frame k of it is frame start + k of the whole. */
export function segmentOutcome(outcome: Outcome, { start, frames }: Segment): Outcome {
  return {
    ...outcome,
    frames,
    timecode: outcome.timecode === null ? null : addFrames(outcome.timecode, start),
    burnIn: outcome.burnIn.map((item) => ({ ...item, words: segmentWords(item.words, start) })),
    audio: [],
    proof: { ...outcome.proof, audioOffsets: [] },
  };
}
