/** Codes of a roll, its copies and its manifests (intake). */
import type { CodeEntry } from '../registry.ts';

export const rollCodes = {
  'manifest-missing': {
    weight: 'hold',
    title: 'the roll has no manifest',
    remedy:
      'Copy the card again with checksums, or make a manifest with `rushlight seal <roll> --to <folder>` while the card still exists, and pass the folder with --manifests. A manifest made now proves the copies equal to each other, not to the card.',
  },
  'manifest-unreadable': {
    weight: 'hold',
    title: 'a manifest cannot be read',
    remedy: 'Fetch the manifest again from the copy that was made first, or from another copy. Do not edit it by hand.',
  },
  'roll-empty': {
    weight: 'hold',
    title: 'the roll holds no clip',
    remedy: 'Compare with the card. If the roll was meant to be empty, take its folder out of the shoot day.',
  },
} as const satisfies Record<string, CodeEntry>;
