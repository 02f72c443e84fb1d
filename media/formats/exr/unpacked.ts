/** Which compressions our own reader of pictures (pixels.ts) unpacks. */
import type { ExrCompression } from './attribute.ts';

const unpacked: ReadonlySet<string> = new Set(['none', 'rle', 'zips', 'zip'] satisfies ExrCompression[]);

export const isUnpackedHere = (compression: string): boolean => unpacked.has(compression);
