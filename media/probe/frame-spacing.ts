/** Whether frames come at one constant rate, and which: decided from every presentation time, exactly. */
import { type Rate, type Ratio, divideRatios, gcd, knownRates, ratio, sameRatio } from '../time/rate.ts';

export interface Step {
  readonly ticks: number;
  readonly count: number;
}
export interface FrameSpacing {
  readonly constant: boolean;
  /** The constant rate; the nominal one when not constant; null when a single frame says nothing. */
  readonly rate: Rate | null;
  /** Most frequent first. Steps that differ because the clock cannot hold the period count as one; those beside a period that it can hold do not. */
  readonly steps: readonly Step[];
}

/** Steps between neighbours of sorted times, most frequent first, then shortest first. */
function stepsOf(times: Float64Array): Step[] {
  const counts = new Map<number, number>();
  for (let index = 1; index < times.length; index += 1) {
    const ticks = (times[index] as number) - (times[index - 1] as number);
    counts.set(ticks, (counts.get(ticks) ?? 0) + 1);
  }
  return [...counts]
    .map(([ticks, count]) => ({ ticks, count }))
    .sort((a, b) => b.count - a.count || a.ticks - b.ticks);
}

/** Steps between neighbours of sorted times in their order, each with how often it follows itself. */
export function stepsInOrder(times: Float64Array): [ticks: number, count: number][] {
  const runs: [number, number][] = [];
  for (let index = 1; index < times.length; index += 1) {
    const ticks = (times[index] as number) - (times[index - 1] as number);
    const last = runs.at(-1);
    if (last?.[0] === ticks) last[1] += 1;
    else runs.push([ticks, 1]);
  }
  return runs;
}

/**
 * How times lie to those of `rate` on their grid. `rounded`: as rounding writes them, where the grid cannot hold the period. `uneven`: a tick of the
 * clock beside their place though the grid can hold it, as devices write that round on their way; it is a constant rate all the same. null: neither.
 *
 * No step is more than one tick of the grid from the period, and all times together lie in a band of that: one rounding stays within one tick, ticks to
 * either side within two. A grid coarser than an eighth of a frame proves nothing (a missing frame would look like rounding), and one coarser than a
 * sixteenth has no room for a second tick. Times on a coarser grid than the ticks that holds the period must hold it: what shares a factor there was moved.
 */
function fitOn(times: Float64Array, grid: bigint, timeBase: Ratio, rate: Rate): 'rounded' | 'uneven' | null {
  // Frame period in ticks: top / bottom.
  const top = BigInt(timeBase.den) * BigInt(rate.den);
  const bottom = BigInt(timeBase.num) * BigInt(rate.num);
  const tick = grid * bottom;
  const holds = top % tick === 0n;
  if ((holds && grid > 1n) || top < 8n * tick) return null;
  const limit = top >= 16n * tick ? 2n * tick : tick;
  const first = BigInt(times[0] as number);
  let before = 0n;
  let least = 0n;
  let most = 0n;
  for (let index = 1; index < times.length; index += 1) {
    const deviation = (BigInt(times[index] as number) - first) * bottom - BigInt(index) * top;
    const step = deviation - before;
    if (step > tick || -step > tick) return null;
    before = deviation;
    if (deviation > most) most = deviation;
    if (deviation < least) least = deviation;
    if (most - least > limit) return null;
  }
  return holds ? 'uneven' : 'rounded';
}

/**
 * `times`: presentation times in ticks of `timeBase`, sorted. `claims`: what headers say, the most trusted first;
 * a claim decides only between rates that the times allow, and names the rate of a single frame.
 */
export function frameSpacingOf(times: Float64Array, timeBase: Ratio, claims: readonly Rate[]): FrameSpacing {
  const steps = stepsOf(times);
  const only = steps[0];
  if (only === undefined) return { constant: true, rate: claims[0] ?? null, steps: [] };
  const exact =
    steps.length === 1 && only.ticks > 0
      ? divideRatios({ num: 1, den: 1 }, ratio(BigInt(timeBase.num) * BigInt(only.ticks), timeBase.den))
      : null;
  // A file whose times were once in a coarser base keeps that base's grid: all its steps share a factor. One step has no grid but the ticks.
  const grid = exact !== null ? 1n : steps.reduce((common, step) => gcd(common, BigInt(step.ticks)), 0n);
  const isExact = (rate: Rate): boolean => exact !== null && sameRatio(rate, exact);
  const allowed = (rate: Rate): boolean =>
    isExact(rate) || (grid > 0n && fitOn(times, grid, timeBase, rate) !== null);
  const fitting = claims.find(allowed) ?? knownRates.find(isExact) ?? knownRates.find(allowed);
  if (fitting !== undefined) {
    const uneven = !isExact(fitting) && fitOn(times, grid, timeBase, fitting) === 'uneven';
    return {
      constant: true,
      rate: fitting,
      steps: uneven ? steps : [{ ticks: only.ticks, count: times.length - 1 }],
    };
  }
  if (exact !== null) return { constant: true, rate: exact, steps };
  const span = BigInt(times[times.length - 1] as number) - BigInt(times[0] as number);
  const average =
    span > 0n ? ratio(BigInt(times.length - 1) * BigInt(timeBase.den), span * BigInt(timeBase.num)) : null;
  return { constant: false, rate: claims[0] ?? average, steps };
}
