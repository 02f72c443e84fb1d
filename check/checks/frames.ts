import { type Check, compare } from '../check.ts';

/** Packets of the output, counted, against packets of the source, counted, and against the plan; the header's claim must agree. */
export const frames: Check = {
  name: 'frames',
  rests: ['packets'],
  run: ({ measured: { facts }, outcome, source }) => {
    if (facts === null) return null;
    return compare('frame-count-differs', [
      ['frames', facts.video.frames, outcome.frames],
      ...(facts.video.claimedFrames === null
        ? []
        : ([['frames by the header', facts.video.claimedFrames, outcome.frames]] as const)),
      ...(source === null
        ? []
        : ([["of the source's frames", facts.video.frames, source.video.frames]] as const)),
    ]);
  },
};
