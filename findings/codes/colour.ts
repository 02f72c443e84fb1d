/** Codes of colour: which transform brings a source to scene-linear values, and the files that describe one. */
import type { CodeEntry } from '../entry.ts';

export const colourCodes = {
  'colour-file-refused': {
    weight: 'hold',
    title: 'a colour transform file is not understood whole',
    remedy:
      'Nothing of such a file is left away or guessed. Write it again as a .cube file (one table or a table with its shaper) or as a .clf file of the Common LUT Format 3.0, with the parts named above corrected, and name it again with its new SHA-256.',
  },
  'colour-file-changed': {
    weight: 'hold',
    title: 'a colour transform file is not the one that was named',
    remedy:
      'Put the file with that SHA-256 in its place, or, when the new one is meant, state the new SHA-256 (`sha256sum <file>`) where the transform is named.',
  },
} as const satisfies Record<string, CodeEntry>;
