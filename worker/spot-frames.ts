/**
 * Which frames of a clip are decoded once more, alone, to find what was decoded for the encoders in a second way; and how one of
 * them is reached. One rule for all deliverables: movies (spot.ts) and masters (master/spots.ts).
 */
import type { VideoFacts } from '../media/facts.ts';
import type { Job } from '../ledger/job.ts';
import { type OpenedInput, openInput, partAt } from '../media/input.ts';

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

/** The source, opened so that ffmpeg's first frame is `frame`: the seek comes before the input's own arguments. Dispose of it afterwards. */
export async function openAtFrame(
  { rollFolder, clip: { place }, facts }: Pick<Job, 'rollFolder' | 'clip' | 'facts'>,
  frame: number,
): Promise<OpenedInput> {
  const { rate } = facts.video;
  // A part of a spanned clip is opened alone: what joins them for the encoders is not asked.
  const at = place.kind === 'spanned' ? partAt(place, facts.parts ?? [], frame) : { place, frame };
  const isMovie = at.place.kind === 'movie';
  const from =
    at.place.kind === 'movie' ? at.place : { ...at.place, first: at.place.first + frame, count: 1 };
  // Half a frame early, so that no rounding passes the frame by.
  const seek = isMovie && at.frame > 0 ? ['-ss', secondsBefore(facts.video, at.frame).toFixed(6)] : [];
  const input = await openInput(rollFolder, from, rate);
  return { ...input, args: [...seek, ...input.args] };
}
