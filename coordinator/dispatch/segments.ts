/**
 * Into how many segments a clip is cut. Pure: the same for the run and for whoever asks what it would do. A clip is cut when all that is made of it can be joined, its
 * frames can be taken up in its middle, and making it takes more than fifteen times as long as joining it; and then into no more segments than slots have use for.
 */
import type { Job } from '../../ledger/job.ts';
import { mayBeEntered, mayBeJoined, segmentsOf } from '../../profiles/segments.ts';

/** `never`; `auto`: where it pays; a number: so many of every clip that may be cut. */
export type SegmentsAsked = 'never' | 'auto' | number;

export interface ToCut {
  readonly job: Job;
  /** How long it is thought to take, and what it writes. */
  readonly seconds: number;
  readonly bytes: number;
}

/** Making takes so many times as long as joining, at the least. */
const TIMES = 15;
/** Segments of a clip that a slot gets: the last ones end closer together. */
const A_SLOT = 2;
/** Bytes a second that are read, written and hashed where segments are joined: common practice for a drive over a network, no source. */
const JOINED_A_SECOND = 100e6;
/** Starting programs, reading headers, publishing; and as much for every segment: entering the file, and what is decoded before its first frame. */
const SECONDS_A_JOB = 2;

export function joinSeconds({ job, bytes }: Pick<ToCut, 'job' | 'bytes'>): number {
  return SECONDS_A_JOB + (2 * bytes + job.clip.bytes) / JOINED_A_SECOND;
}

/** Whether its deliverables can be joined, and its frames be taken up in its middle. */
export function mayBeCut({ clip, facts, deliverables }: Job): boolean {
  return (
    clip.place.kind === 'movie' &&
    clip.stretch === undefined &&
    deliverables.length > 0 &&
    deliverables.every(({ kind, outcome }) => kind === 'movie' && mayBeJoined(outcome)) &&
    mayBeEntered(facts)
  );
}

/** 1: it is made whole. `lying`: into how many it was cut by a run that was interrupted, where some of them lie there; null: none do. */
export function segmentsFor(
  toCut: ToCut,
  asked: SegmentsAsked,
  slots: number,
  lying: number | null = null,
): number {
  const { job, seconds } = toCut;
  if (asked === 'never' || !mayBeCut(job)) return 1;
  // What is made is worth more than a better cut.
  if (asked === 'auto' && lying !== null) return lying;
  const most = Math.floor(job.facts.video.frames / 2);
  if (asked !== 'auto') return Math.max(1, Math.min(asked, most));
  const joining = joinSeconds(toCut);
  if (slots < 2 || seconds <= TIMES * joining) return 1;
  return Math.max(1, Math.min(A_SLOT * slots, Math.floor(seconds / joining), most));
}

/** The jobs that a clip is made by: itself; or its segments, and the one that joins them, last. */
export function jobsOf(toCut: ToCut, segments: number): { readonly job: Job; readonly seconds: number }[] {
  const { job, seconds } = toCut;
  if (segments === 1) return [{ job, seconds }];
  const { frames } = job.facts.video;
  return [
    ...segmentsOf(frames, segments).map(({ start, frames: count }, segment) => ({
      job: { ...job, segments, segment, span: { start, count } },
      seconds: SECONDS_A_JOB + (seconds * count) / frames,
    })),
    { job: { ...job, segments }, seconds: joinSeconds(toCut) },
  ];
}
