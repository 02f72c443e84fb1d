/** Of a job that makes one segment of a long clip: what it is asked for, and which frames of the clip it sees. Pure. */
import type { Job, MovieWork } from '../../ledger/job.ts';
import type { Around, SegmentsOf } from '../../ledger/segments.ts';
import { decisionDigest } from '../../profiles/outcome/any.ts';
import { type Segment, segmentFacts, segmentOutcome, segmentsOf } from '../../profiles/segments.ts';

/** A job whose clip is cut. */
export type CutJob = Job & { readonly segments: number };
export type SegmentJob = CutJob & { readonly segment: number };

export const isCut = (job: Job): job is CutJob => job.segments !== undefined;
export const isSegment = (job: Job): job is SegmentJob => isCut(job) && job.segment !== undefined;

export const segmentsOfJob = ({ facts, segments }: CutJob): Segment[] =>
  segmentsOf(facts.video.frames, segments);

/** What the segments of this job are known by. */
export function workOfSegments({ clip, toolchain, segments, deliverables }: CutJob): SegmentsOf {
  return {
    contentDigest: clip.contentDigest,
    toolchain,
    segments,
    deliverables: deliverables.map(({ profile, profileHash, outcome }) => ({
      profile: profile.name,
      profileHash,
      decision: decisionDigest(outcome),
    })),
  };
}

/** Of every segment but the first the frame before it is seen, of every one but the last the frame behind it. */
export const aroundOf = (index: number, of: number): Around => ({
  before: index === 0 ? 0 : 1,
  behind: index === of - 1 ? 0 : 1,
});

export interface CutOut {
  readonly segment: Segment;
  readonly around: Around;
  /** The job as if the segment were the clip. */
  readonly own: Job;
  /** The same of all that is seen: frames before and behind it too, placed in the clip. */
  readonly seen: Job;
  readonly movies: readonly MovieWork[];
}

/** Throws RangeError for what is not made in segments. */
export function cutOut(job: SegmentJob): CutOut {
  const segment = segmentsOfJob(job)[job.segment];
  if (segment === undefined) throw new RangeError(`segment ${job.segment} of ${job.segments}`);
  const around = aroundOf(job.segment, job.segments);
  const movies = job.deliverables.map((one): MovieWork => {
    if (one.kind !== 'movie') throw new RangeError(`a segment of ${one.kind}`);
    return { ...one, outcome: segmentOutcome(one.outcome, segment) };
  });
  const own: Job = {
    ...job,
    facts: segmentFacts(job.facts, segment),
    span: { start: segment.start, count: segment.frames },
    deliverables: movies,
  };
  const start = segment.start - around.before;
  const frames = around.before + segment.frames + around.behind;
  const seen: Job = {
    ...job,
    span: { start, count: frames },
    clip: { ...job.clip, stretch: { start, frames, day: job.day } },
  };
  return { segment, around, own, seen, movies };
}
