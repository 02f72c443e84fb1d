/** Numbers that schema, outcome and recipe must agree on. */

/** Pixels a side of what we make. ffmpeg and the wrappers hold more, but no encoder here was ever run on more. */
export const LARGEST_SIDE = 16_384;

/** AAC: kilobits (of 1000 bits) a second, for each channel. */
export const AAC_KILOBITS = 160;
