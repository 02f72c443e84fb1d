/** A constant rate for a clip without one: at each instant of a regular grid the frame that was shown then. Pure, exact. */
import type { VideoFacts } from '../../media/facts.ts';
import { type Rate, safeNumber } from '../../media/time/rate.ts';
import type { Grid } from '../cadence.ts';

/** Presentation times against the first one, ticks; behind them the end of the last frame. null: they were not kept. */
function timesOf({ stepsInOrder, firstTime, endTime }: VideoFacts): number[] | null {
  if (stepsInOrder === undefined) return null;
  const times = [0];
  for (const [ticks, count] of stepsInOrder)
    for (let left = count; left > 0; left -= 1) times.push((times.at(-1) ?? 0) + ticks);
  return [...times, endTime - firstTime];
}

/**
 * Instant k is k / rate after the first frame; a frame is shown from its time to that of the next, so that it is first seen at the instant
 * ceil(time × rate), and as often as there are instants before that of the next one. null: the clip's times were not kept.
 */
export function gridOf(video: VideoFacts, rate: Rate): (Grid & { readonly frames: number }) | null {
  const times = timesOf(video);
  if (times === null) return null;
  const top = BigInt(video.timeBase.num) * BigInt(rate.num);
  const bottom = BigInt(video.timeBase.den) * BigInt(rate.den);
  const seenFrom = times.map((time) => safeNumber((BigInt(time) * top + bottom - 1n) / bottom));
  const repeated: [number, number][] = [];
  const leftOut: number[] = [];
  for (let frame = 0; frame + 1 < seenFrom.length; frame += 1) {
    const seen = (seenFrom[frame + 1] as number) - (seenFrom[frame] as number);
    if (seen === 0) leftOut.push(frame);
    else if (seen > 1) repeated.push([frame, seen]);
  }
  return { frames: seenFrom.at(-1) ?? 0, repeated, leftOut };
}
