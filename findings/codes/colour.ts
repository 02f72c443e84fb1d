/** Codes of colour: which transform brings a source to scene-linear values, and the files that describe one. */
import type { CodeEntry } from '../entry.ts';

export const colourCodes = {
  'colour-file-refused': {
    weight: 'hold',
    title: 'a part of a LUT file is not understood',
    remedy:
      'Save the LUT again without the parts named, as a .cube file (one table, or a table with its shaper) or as a .clf file (Common LUT Format 3.0). Then run again with --settings that name the new file. No part of a LUT is skipped or guessed.',
  },
  'colour-file-changed': {
    weight: 'hold',
    title: 'a LUT file has changed since the run was planned',
    remedy:
      'Put the file with that SHA-256 back in its place. To use the new one, run again with --settings that name it: masters made with the old one are made again.',
  },
  'colour-way-source-unsupported': {
    weight: 'hold',
    title: 'the pictures of this kind of source cannot be shown through their colours here',
    remedy:
      'State `output: as-recorded` for this clip in the settings, and run again with --settings: its pictures then stay as they were recorded, in profiles that take its colours. Or make what is to be looked at outside Rushlight.',
  },
  'output-transform-missing': {
    weight: 'hold',
    title:
      'the version of ACES that the settings name has no output transform for the display of the profile',
    remedy:
      'State `output: aces-2` for the clip in the settings, or give the display of the profile a peak and limiting primaries that there are. Then run again with --settings, or with that profile.',
  },
  'look-for-other-display': {
    weight: 'hold',
    title: 'the look ends on another display than the profile is for',
    remedy:
      'Name a look in the settings that ends on that display, or one that ends in a space of the scene, from which the output transform goes on. Then run again with --settings.',
  },
} as const satisfies Record<string, CodeEntry>;
