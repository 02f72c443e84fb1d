/** Stills where nobody says how many and how, and the checks that every one of them must pass. */

/** Of one clip. */
export const MOST_STILLS = 24;
/** `width`: pixels at most. */
export const usualStills: { readonly count: number; readonly width: number; readonly bits: 8 | 16 } = {
  count: 4,
  width: 960,
  bits: 8,
};

export const stillChecks = ['still-form', 'still-pixels'] as const;
export type StillCheck = (typeof stillChecks)[number];
