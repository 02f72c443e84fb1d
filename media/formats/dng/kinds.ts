/** What kinds of raw frames there are. Without schemas: frame threads load it (see media/time/schema.ts). */

/** Colours of the 2 x 2 pattern, row by row from the top left corner of the active area. */
export const cfaPatterns = ['rggb', 'grbg', 'gbrg', 'bggr'] as const;
export type CfaPattern = (typeof cfaPatterns)[number];

/** How the samples are stored. `other`: a compression number that has no name here. */
export const rawCompressions = ['none', 'lossless-jpeg', 'deflate', 'lossy-jpeg', 'other'] as const;
export type RawCompression = (typeof rawCompressions)[number];
