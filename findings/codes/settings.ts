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
  'cdl-refused': {
    weight: 'hold',
    title: 'a CDL of the settings is not understood',
    remedy:
      'Save the CDL again as a .cc, .ccc, .cdl or .edl file with ASC_SOP and ASC_SAT, or correct the id or the path in the settings. Slopes and saturation are 0 or more, powers above 0 (ASC CDL). No part of a CDL is skipped or guessed.',
  },
  'cdl-ambiguous': {
    weight: 'hold',
    title: 'which CDL of the show is of a clip is not certain',
    remedy:
      'State `cdl` for this clip in the settings, which counts before them, or leave those that are not meant out of what `show.cdls` names, or put the roll before the name, as in A001/C0001. Then run again. Which of them is meant is never guessed.',
  },
  'cdl-unmatched': {
    weight: 'note',
    title: 'CDLs of the show are of no clip',
    remedy:
      'Compare the names with those of the clips, with `rushlight plan`, which lists both. CDLs of other days are harmless.',
  },
  'look-refused': {
    weight: 'hold',
    title: 'a look of the settings cannot be used',
    remedy:
      'Save the look again as a .cube file that takes log codes, or as a .clf file (Common LUT Format 3.0), and name in the settings the spaces that it takes and ends in. Nothing of a roll is made with half a look.',
  },
  'look-not-shown': {
    weight: 'hold',
    title: 'a clip is shown as it was recorded, and has a look all the same',
    remedy:
      'State `output: aces-2` or `output: aces-1` where the look is stated, or `cdl: none`, `look: none`, `exposure: 0` and `gamut_compression: false` where pictures are to be shown as they were recorded. Then run again.',
  },
  'look-left-out': {
    weight: 'note',
    title: 'a look of the settings is left out: the clip was made for a display, or nobody says what it is',
    remedy:
      'Compare with the camera report. Of a log recording, state `input` in the settings, and run again with --settings: it then gets its look. Pictures that were made for a display have theirs, and need nothing.',
  },
  'log-by-tags': {
    weight: 'note',
    title: 'nobody states the input of the clip; its tags name a log curve, and are followed',
    remedy:
      'Compare the tags with the camera report. If it was set otherwise, state `input` for the clip in the settings, which counts before tags, and run again with --settings.',
  },
  'settings-unmatched': {
    weight: 'note',
    title: 'the settings name what the day does not have',
    remedy:
      'Compare the name with `rushlight plan`, which lists rolls, clips, and what files say of their camera. Settings for another day are harmless.',
  },
  'settings-there': {
    weight: 'hold',
    title: 'a file has the name that new settings were to have',
    remedy: 'Name another file with --to. What is there is left as it is.',
  },
  'settings-not-written': {
    weight: 'hold',
    title: 'new settings cannot be written',
    remedy: 'Name a file with --to in a folder that exists and that you may write to.',
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
    remedy:
      'Make the master of an interlaced movie by a profile with `interlaced: deinterlace`; of anything else make it outside Rushlight, or run its roll without that --profile.',
  },
  'frame-line-shown': {
    weight: 'note',
    title: 'proxies show what lies inside the frame line; masters keep the whole picture',
    remedy:
      'Do nothing if it was framed so. If not, correct `frame_line` in the settings, or set it to `none`.',
  },
  'frame-line-misfit': {
    weight: 'hold',
    title: 'the frame line of the settings does not lie in the picture of the clip',
    remedy:
      'State `frame_line` for the camera, roll or clip as it was framed, or `frame_line: none` for the whole picture.',
  },
} as const satisfies Record<string, CodeEntry>;
