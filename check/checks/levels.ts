import type { FindingCode } from '../../findings/registry.ts';
import type { Check } from '../check.ts';

const codes = {
  range: 'range-wrong',
  matrix: 'matrix-wrong',
  levels: 'levels-differ',
} as const satisfies Record<string, FindingCode>;

/** Levels and colours came out through the profile's own conversion: what the tags say is true of the pictures. */
export const levels: Check = {
  name: 'levels',
  rests: ['decode', 'fingerprints'],
  run: ({ compared: { picture }, outcome }) => {
    if (picture === null) return null;
    const { off, fault, unproven } = picture.levels;
    const expected = outcome.proof.kept
      ? 'as the source has them'
      : `${outcome.colour.matrix} ${outcome.colour.range}, converted from the source`;
    // Frames that are out of place have no colours to compare; the fingerprints say so, and nothing is passed here for it.
    if (off === null)
      return {
        measured: 'no frame in its place to compare',
        expected,
        faults: [{ code: 'levels-differ', found: 'no frame in its place to compare', expected }],
      };
    const faint =
      unproven.length === 0 ? '' : `; too little in the picture to tell ${unproven.join(' and ')}`;
    const measured = `Y', Cb, Cr off by ${off.map((value) => value.toFixed(2)).join(', ')} steps of 8 bits${faint}`;
    return {
      measured: fault === null ? measured : `${measured}: ${fault.found}`,
      expected,
      faults: fault === null ? [] : [{ code: codes[fault.kind], found: fault.found, expected }],
    };
  },
};
