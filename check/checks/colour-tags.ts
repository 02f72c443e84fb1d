import { type Check, compare } from '../check.ts';

/** Primaries, transfer, matrix and range as tagged (names of ITU-T H.273). Tags are reported, the values under them are not proved by this. */
export const colourTags: Check = {
  name: 'colour-tags',
  rests: ['packets'],
  run: ({ measured: { facts }, outcome }) => {
    if (facts === null) return null;
    const { colour, codec } = facts.video;
    // RDD 36 pictures are limited range and nothing else: neither stream nor QuickTime's `nclc` says so, and readers differ in whether they do.
    const range = colour.range ?? (codec === 'rdd36' ? 'limited' : null);
    return compare('colour-tags-differ', [
      ['primaries', colour.primaries, outcome.colour.primaries],
      ['transfer', colour.transfer, outcome.colour.transfer],
      ['matrix', colour.matrix, outcome.colour.matrix],
      ['range', range, outcome.colour.range],
    ]);
  },
};
