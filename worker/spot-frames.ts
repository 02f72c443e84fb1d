/**
 * Which frames of a clip are decoded once more, alone, to find what was decoded for the encoders in a second way; and how one of
 * them is reached. One rule for all deliverables: movies (spot.ts) and masters (master/spots.ts).
 */
import { type ClipFacts, earlierField, type VideoFacts } from '../media/facts.ts';
import type { Job } from '../ledger/job.ts';
import { framesBefore, jointsIn } from './stretch.ts';
import { type MoviePlace, type OpenedInput, openInput, partAt, type SequencePlace } from '../media/input.ts';

/** Frames that a seek may land beside the one asked for, where a file's times and its edit list or index disagree. */
const BESIDE = 3;

/** The first frame, and one that depends on the content alone; of a master the middle one and the last as well. In order, each once. */
export function spotFrames(contentDigest: string, frames: number, of: 'proxy' | 'master'): number[] {
  const drawn = Number(
    BigInt(`0x${/^[0-9a-f]{1,12}/.exec(contentDigest)?.[0] ?? '0'}`) % BigInt(Math.max(1, frames)),
  );
  const further = of === 'master' ? [Math.floor(frames / 2), frames - 1] : [];
  return [...new Set([0, drawn, ...further])].sort((a, b) => a - b);
}

/**
 * Those of a master. Of fields also the frames on both sides of each joint of a spanned clip: they are made of one another's lines, which nothing else sees that
 * the master is proved by.
 */
export function masterSpotFrames(job: Pick<Job, 'clip' | 'facts'>, frames: number): number[] {
  const drawn = spotFrames(job.clip.contentDigest, frames, 'master');
  if (earlierField(job.facts.video) === null) return drawn;
  const atJoints = jointsIn(job).flatMap((first) => [first - 1, first]);
  return [...new Set([...drawn, ...atJoints])].sort((a, b) => a - b);
}

/** The frames that a decoder may have given for the one asked for: that one first, then its neighbours, nearest first. */
export function framesBeside(asked: number, frames: number): number[] {
  return Array.from(
    { length: 2 * BESIDE + 1 },
    (_, index) => asked + (index % 2 === 0 ? index / 2 : -(index + 1) / 2),
  ).filter((frame) => frame >= 0 && frame < frames);
}

/** Half a frame before it. */
function secondsBefore({ rate, stepsInOrder, timeBase }: VideoFacts, frame: number): number {
  if (stepsInOrder === undefined) return ((frame - 0.5) * rate.den) / rate.num;
  let ticks = 0;
  let left = frame;
  for (const [step, count] of stepsInOrder) {
    const taken = Math.min(left, count);
    ticks += taken * step;
    left -= taken;
    if (left === 0) return ((ticks - step / 2) * timeBase.num) / timeBase.den;
  }
  throw new RangeError(`frame ${frame} of a clip that is shorter`);
}

/**
 * MPEG-TS has no index, and ffmpeg begins behind the place that it was asked for, with the next key frame: such a file is entered so much earlier, seconds,
 * and what comes before the frame is left out.
 */
const LEAD = 10;

export interface OpenedAtFrame extends OpenedInput {
  /** Seconds that go before the frame; 0: it is the first that comes. */
  readonly lead: number;
  /** Half a frame before it, seconds from the first frame of the file. */
  readonly wanted: number;
}

/** Filters in front of all others; '' where nothing is left out. */
export const leadFilter = (seconds: number): string =>
  seconds === 0 ? '' : `trim=start=${seconds.toFixed(6)},`;

/** A file, or numbered frames, opened so that ffmpeg's first frame behind `lead` is `frame`: the seek comes before the input's own arguments. Dispose of it afterwards. */
export async function openFileAtFrame(
  rollFolder: string,
  place: MoviePlace | SequencePlace,
  { container, video }: Pick<ClipFacts, 'container' | 'video'>,
  frame: number,
): Promise<OpenedAtFrame> {
  const isMovie = place.kind === 'movie';
  const from = isMovie ? place : { ...place, first: place.first + frame, count: 1 };
  // Half a frame early, so that no rounding passes the frame by.
  const wanted = isMovie && frame > 0 ? secondsBefore(video, frame) : 0;
  const entered = container === 'mpegts' ? Math.max(0, wanted - LEAD) : wanted;
  const seek = entered > 0 ? ['-ss', entered.toFixed(6)] : [];
  const input = await openInput(rollFolder, from, video.rate);
  return { ...input, args: [...seek, ...input.args], lead: wanted - entered, wanted };
}

/** The same of a clip; `index`: of the job's frames, from 0. A part of a spanned one is opened alone: what joins them for the encoders is not asked. */
export async function openAtFrame(
  { rollFolder, clip, facts }: Pick<Job, 'rollFolder' | 'clip' | 'facts'>,
  index: number,
): Promise<OpenedAtFrame> {
  const { place } = clip;
  const frame = index + framesBefore({ clip });
  const at = place.kind === 'spanned' ? partAt(place, facts.parts ?? [], frame) : { place, frame };
  return await openFileAtFrame(rollFolder, at.place, facts, at.frame);
}
