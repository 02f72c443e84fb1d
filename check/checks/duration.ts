import { formatRatio, sameRatio } from '../../media/time/rate.ts';
import type { Check } from '../check.ts';

/**
 * First to end time of the packets against frames over rate, exactly: to half a tick of the file's own time base, since a base may not be able to express
 * the rate. Matroska's base is a millisecond whatever the rate: there the last time is rounded, and the last frame's length cut to whole ticks besides.
 */
export const duration: Check = {
  name: 'duration',
  rests: ['packets'],
  run: ({ measured: { facts }, outcome }) => {
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
    return {
      measured,
      expected,
      faults: equal ? [] : [{ code: 'duration-differs', found: measured, expected }],
    };
  },
};
