/** Stills where nobody says how many and how. */
import type { StillsAsked } from './schema.ts';

/** Of one clip. */
export const MOST_STILLS = 24;
/** `width`: pixels at most. */
export const usualStills: StillsAsked = { count: 4, width: 960, bits: 8 };
