import { type Check, compare } from '../check.ts';

/** Primaries, transfer, matrix and range as tagged (ITU-T H.273 names). Tags are told, the values under them are not proved by this. */
export const colourTags: Check = {
  name: 'colour-tags',
  rests: ['packets'],
  run: ({ measured: { facts }, outcome }) => {
    if (facts === null) return null;
    const { colour } = facts.video;
    return compare('colour-tags-differ', [
      ['primaries', colour.primaries, outcome.colour.primaries],
      ['transfer', colour.transfer, outcome.colour.transfer],
      ['matrix', colour.matrix, outcome.colour.matrix],
      ['range', colour.range, outcome.colour.range],
    ]);
  },
};
