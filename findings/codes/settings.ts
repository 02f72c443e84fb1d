/** Codes of a show's settings, and of what nobody says of a clip. */
import type { CodeEntry } from '../entry.ts';

export const settingsCodes = {
  'settings-unreadable': {
    weight: 'hold',
    title: 'the settings cannot be read',
    remedy: 'Correct the line named, or leave --settings out. docs/settings.md shows a file that reads well.',
  },
  'settings-value-wrong': {
    weight: 'hold',
    title: 'the settings say something that cannot be',
    remedy: 'Correct the field named; docs/settings.md has every field with what it may hold.',
  },
  'input-unknown': {
    weight: 'hold',
    title: 'nobody says what the code values of a clip mean',
    remedy:
      'State `input` in the settings, for the show, the camera or the roll, and run again. It is never guessed: a wrong transform looks plausible and is found in the grade.',
  },
  'input-differs-from-tags': {
    weight: 'note',
    title: 'the settings say something else of a clip than its own tags',
    remedy:
      'Nothing, if the settings are right: they were followed. Cameras often tag log pictures as BT.709.',
  },
  'raw-setting-missing': {
    weight: 'hold',
    title: 'a raw clip cannot be developed as it is asked',
    remedy:
      'State a white balance in the settings that this file can answer for, or as-shot where the camera recorded one.',
  },
  'master-source-unsupported': {
    weight: 'hold',
    title: 'a master cannot be made of such a source',
    remedy: "Make this clip's master by other means, or leave the profile out for its roll.",
  },
} as const satisfies Record<string, CodeEntry>;
