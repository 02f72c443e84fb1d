import { formatRatio, sameRatio } from '../../media/time/rate.ts';
import type { ClipFacts } from '../../media/facts.ts';
import type { Outcome } from '../../profiles/outcome.ts';
import { framesOfEach, lastsAsLong, rateByClip, recordedRate, sameRate } from '../cadence.ts';
import type { Check, CheckVerdict } from '../check.ts';

/**
 * First to end time of the packets against frames over rate, exactly: to half a tick of the file's own time base, since a base may not be able to express
 * the rate. Matroska's base is a millisecond whatever the rate: there the last time is rounded, and the last frame's length cut to whole ticks besides.
 */
export const duration: Check = {
  name: 'duration',
  rests: ['packets'],
  run: ({ measured: { facts }, outcome, source }) => {
    if (facts === null) return null;
    const { rate, timeBase, firstTime, endTime } = facts.video;
    const ticks = endTime - firstTime;
    const measured = `${ticks} ticks of ${formatRatio(timeBase)} s at ${formatRatio(rate)} frames/s`;
    const expected = `${outcome.frames} frames at ${formatRatio(outcome.rate)} frames/s`;
    // ticks · tb against frames / rate, over the common denominator tb.den · rate.num; half a tick is tb.num / (2 · tb.den).
    const spent = BigInt(ticks) * BigInt(timeBase.num) * BigInt(outcome.rate.num);
    const wanted = BigInt(outcome.frames) * BigInt(outcome.rate.den) * BigInt(timeBase.den);
    const away = spent > wanted ? spent - wanted : wanted - spent;
    const halves = outcome.container === 'mkv' ? 3n : 1n;
    const equal =
      2n * away <= halves * BigInt(timeBase.num) * BigInt(outcome.rate.num) && sameRatio(rate, outcome.rate);
    const faults: CheckVerdict['faults'][number][] = equal
      ? []
      : [{ code: 'duration-differs', found: measured, expected }];
    const clipSays = source === null ? null : byClip(source, outcome, facts);
    if (clipSays !== null) faults.push({ code: 'duration-differs', found: measured, expected: clipSays });
    return { measured, expected, faults };
  },
};

/** What the clip would have it be; null: it is so. Matroska's clock is held against the outcome alone, which knows how coarse it is. */
function byClip(source: ClipFacts, { cadence, container }: Outcome, { video }: ClipFacts): string | null {
  const rate = rateByClip(source, cadence);
  const { offSpeed } = cadence;
  const recorded = recordedRate(source, cadence);
  const slower = offSpeed === null ? '' : `, ${formatRatio(offSpeed.slower)} times as long`;
  if (rate === null) return 'a rate of the project in the settings of the clip';
  const isRate = sameRate(video.rate, rate);
  const isFactor =
    offSpeed === null ||
    (sameRate(offSpeed.captured, recorded) &&
      BigInt(offSpeed.slower.num) * BigInt(rate.num) * BigInt(recorded.den) ===
        BigInt(offSpeed.slower.den) * BigInt(rate.den) * BigInt(recorded.num));
  const isLong =
    container === 'mkv' ||
    lastsAsLong(source, cadence, { ticks: video.endTime - video.firstTime, timeBase: video.timeBase, rate });
  return isRate && isFactor && isLong
    ? null
    : `${framesOfEach(cadence) * source.video.frames} ${cadence.split === null ? 'frames' : 'fields'} recorded at ${formatRatio(recorded)} a second, at ${formatRatio(rate)} frames/s${slower}`;
}
