/**
 * Which frames of its clip a job takes. Of a folder of frames only those are opened: the place is narrowed to them. A movie has its frames in one
 * file, of which they are counted out behind the decoder.
 */
import type { Job } from '../ledger/job.ts';
import { jointsOf, type SequencePlace } from '../media/input.ts';

type OfClip = Pick<Job, 'clip'>;

/** The same job, whose place holds the frames of its stretch alone. Its records go on with the clip as it is. */
export function readingOf<Reading extends OfClip>(job: Reading): Reading {
  const { clip } = job;
  const { place, stretch } = clip;
  if (stretch === undefined || place.kind !== 'sequence' || 'isCut' in place) return job;
  const cut: SequencePlace & { readonly isCut: true } = {
    ...place,
    first: place.first + stretch.start,
    count: stretch.frames,
    isCut: true,
  };
  return { ...job, clip: { ...clip, place: cut } };
}

/** Frames of the place as it is read that lie before the first one of the job. */
export const framesBefore = ({ clip: { place, stretch } }: OfClip): number =>
  place.kind === 'sequence' ? 0 : (stretch?.start ?? 0);

/** First frames of the parts of a spanned clip, but for the first, counted in the job. */
export function jointsIn({ clip, facts }: Pick<Job, 'clip' | 'facts'>): number[] {
  const { stretch } = clip;
  if (stretch === undefined) return jointsOf(facts);
  return jointsOf(facts)
    .map((first) => first - stretch.start)
    .filter((first) => first > 0 && first < stretch.frames);
}
