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
  'settings-shape-old': {
    weight: 'hold',
    title: 'the settings are written in a form of earlier days',
    remedy:
      'Write each camera as an entry of the list below `cameras`, with `name`, `known_by` and its settings, as in docs/settings.md. The fields of a camera keep their names.',
  },
  'settings-camera-ambiguous': {
    weight: 'hold',
    title: 'a clip is of two cameras of the settings',
    remedy:
      'State more in `known_by` of the cameras named (rolls, make, model, serial), until one of them alone fits the clip, and run again. Which of them is meant is never guessed.',
  },
  'settings-clip-absent': {
    weight: 'hold',
    title: 'the settings name a clip that the roll does not have',
    remedy:
      'Correct the name of the clip in the settings, or take it out, and run again. If the name is right, the clip is missing from the roll: compare with the card and the camera report, and keep the card.',
  },
  'input-unknown': {
    weight: 'hold',
    title: 'the input colour space of the clip is not known',
    remedy:
      'State `input` for the show, the camera, the roll or the clip in the settings, and run again with --settings. It is never guessed: a wrong transform looks plausible and shows up in the grade.',
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
