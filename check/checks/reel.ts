import { type Check, compare } from '../check.ts';

/** Reel name, read by ffprobe and from the timecode track's source reference. */
export const reel: Check = {
  name: 'reel',
  rests: ['packets', 'atoms'],
  run: ({ measured: { facts, atoms }, outcome }) => {
    if (facts === null || atoms === null) return null;
    return compare('reel-differs', [
      ['reel', facts.reel, outcome.reel],
      ['reel in the track', atoms.timecodeTracks[0]?.reel ?? null, outcome.reel],
    ]);
  },
};
