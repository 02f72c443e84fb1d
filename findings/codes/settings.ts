/** Codes of a show's settings, and of what nobody says of a clip. */
import type { CodeEntry } from '../entry.ts';

export const settingsCodes = {
  'settings-unreadable': {
    weight: 'hold',
    title: 'the settings cannot be read',
    remedy:
      'Correct the line named, or run without --settings. docs/settings.md shows a file that can be read.',
  },
  'settings-value-wrong': {
    weight: 'hold',
    title: 'a setting has an impossible value',
    remedy: 'Correct the field named. docs/settings.md lists every field and its values.',
  },
  'input-unknown': {
    weight: 'hold',
    title: 'the input colour space of the clip is not known',
    remedy:
      'State `input` for the show, the camera or the roll in the settings, and run again with --settings. It is never guessed: a wrong transform looks plausible and shows up in the grade.',
  },
  'input-differs-from-tags': {
    weight: 'note',
    title: 'the settings disagree with the tags or chromaticities of a clip on its colour space',
    remedy:
      'Check the settings against the camera report: they were followed. Cameras often tag log pictures as BT.709. Programs that write OpenEXR state chromaticities on purpose: ask who made the frames.',
  },
  'raw-setting-missing': {
    weight: 'hold',
    title: 'a raw clip cannot be developed with these settings',
    remedy:
      'State `white_balance` in the settings: as-shot where the camera recorded one, otherwise one that this file can be developed with. Run again with --settings.',
  },
  'master-source-unsupported': {
    weight: 'hold',
    title: 'a master cannot be made from this kind of source',
    remedy: 'Make the master of this clip outside Rushlight, or run its roll without that --profile.',
  },
} as const satisfies Record<string, CodeEntry>;
