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
  'manifest-line-malformed': {
    weight: 'hold',
    title: 'an entry of a manifest cannot be understood',
    remedy: 'Compare with the manifest on another copy. Fetch an undamaged one, or make a new manifest; do not repair it by hand.',
  },
  'manifest-algorithm-unknown': {
    weight: 'hold',
    title: 'a manifest states a checksum of a kind that cannot be computed here',
    remedy: 'Name the file after its algorithm (for example checksums.xxh128), or make a manifest with one of the kinds that are read.',
  },
  'manifest-path-outside': {
    weight: 'hold',
    title: 'a manifest names a path outside its roll',
    remedy: 'Such a manifest is broken or was tampered with. Fetch it from another copy and ask who made it.',
  },
  'manifest-contradiction': {
    weight: 'hold',
    title: 'manifests of one roll state different things about one file',
    remedy: 'Find out which manifest was made from the card, and take the other one out of the roll.',
  },
} as const satisfies Record<string, CodeEntry>;
