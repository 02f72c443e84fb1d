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
  /** Most frequent first; one entry when constant. */
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

/**
 * True when the times are those of `rate`, rounded to the grid they lie on. With a constant phase and one rounding,
 * time[n] - n * period stays inside a spread of less than one grid step, whichever way the writer rounds; rounding
 * twice (from one file form to another) stays below two.
 * A grid that can hold the period exactly must hold it exactly, and a grid coarser than an eighth of a frame proves
 * nothing: there a missing frame would look like rounding.
 */
function fits(times: Float64Array, grid: bigint, timeBase: Ratio, rate: Rate): boolean {
  // Frame period in ticks: top / bottom.
  const top = BigInt(timeBase.den) * BigInt(rate.den);
  const bottom = BigInt(timeBase.num) * BigInt(rate.num);
  const gridScaled = grid * bottom;
  if (top % gridScaled === 0n || top < 8n * gridScaled) return false;
  const limit = top >= 16n * gridScaled ? 2n * gridScaled : gridScaled;
  const first = BigInt(times[0] as number);
  let least = 0n;
  let most = 0n;
  for (let index = 1; index < times.length; index += 1) {
    const deviation = (BigInt(times[index] as number) - first) * bottom - BigInt(index) * top;
    if (deviation < least) least = deviation;
    if (deviation > most) most = deviation;
    if (most - least >= limit) return false;
  }
  return true;
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
  const allowed = (rate: Rate): boolean =>
    (exact !== null && sameRatio(rate, exact)) || (grid > 0n && fits(times, grid, timeBase, rate));
  const fitting =
    claims.find(allowed) ??
    knownRates.find((rate) => exact !== null && sameRatio(rate, exact)) ??
    knownRates.find(allowed);
  if (fitting !== undefined)
    return { constant: true, rate: fitting, steps: [{ ticks: only.ticks, count: times.length - 1 }] };
  if (exact !== null) return { constant: true, rate: exact, steps };
  const span = BigInt(times[times.length - 1] as number) - BigInt(times[0] as number);
  const average =
    span > 0n ? ratio(BigInt(times.length - 1) * BigInt(timeBase.den), span * BigInt(timeBase.num)) : null;
  return { constant: false, rate: claims[0] ?? average, steps };
}
