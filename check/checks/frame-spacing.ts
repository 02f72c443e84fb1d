import { type Check, compare } from '../check.ts';

/** Every packet's presentation time: from 0 on, one step, so that there is no gap, no repeat and no disorder. */
export const frameSpacing: Check = {
  name: 'frame-spacing',
  rests: ['packets'],
  run: ({ measured: { facts } }) => {
    if (facts === null) return null;
    const { video } = facts;
    const steps = video.steps.map(({ ticks, count }) => `${count} x ${ticks}`).join(' + ');
    return compare('frame-spacing-broken', [
      ['first time', video.firstTime, 0],
      ['steps', video.rateConstant && video.steps.length <= 1 ? 'all equal' : `${steps} ticks`, 'all equal'],
    ]);
  },
};
