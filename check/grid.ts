/** Which frame of a clip without a constant rate is shown at each instant of a regular grid: found instant by instant, apart from whoever decided. */
import type { VideoFacts } from '../media/facts.ts';

interface Ratio {
  readonly num: number;
  readonly den: number;
}

/** Of each frame of the deliverable the frame of the clip. null: the times of the clip were not kept. */
export function shownAt(video: VideoFacts, rate: Ratio): number[] | null {
  const { stepsInOrder, timeBase, firstTime, endTime, frames } = video;
  if (stepsInOrder === undefined) return null;
  // Frame n begins at begins[n]: in ticks, times numerator of the time base, times numerator of the rate.
  const unit = BigInt(timeBase.num) * BigInt(rate.num);
  const begins: bigint[] = [0n];
  let time = 0n;
  for (const [ticks, count] of stepsInOrder)
    for (let n = 0; n < count; n += 1) {
      time += BigInt(ticks) * unit;
      begins.push(time);
    }
  if (begins.length !== frames) return null;
  const end = BigInt(endTime - firstTime) * unit;
  const instant = BigInt(timeBase.den) * BigInt(rate.den);
  const shown: number[] = [];
  let frame = 0;
  for (let now = 0n; now < end; now += instant) {
    while (frame + 1 < begins.length && (begins[frame + 1] as bigint) <= now) frame += 1;
    shown.push(frame);
  }
  return shown;
}

/** The same from the lists of an outcome. */
export function shownByLists(
  frames: number,
  {
    repeated,
    leftOut,
  }: { readonly repeated: readonly (readonly [number, number])[]; readonly leftOut: readonly number[] },
): number[] {
  const often = new Map<number, number>(repeated);
  const none = new Set(leftOut);
  return Array.from({ length: frames }, (_, frame) => frame).flatMap((frame) =>
    none.has(frame) ? [] : Array.from({ length: often.get(frame) ?? 1 }, () => frame),
  );
}
