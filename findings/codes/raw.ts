/** Codes of raw clips: frames that cannot be developed, sequences that are not of one camera setting, decoders. */
import type { CodeEntry } from '../entry.ts';
import { COMPARE } from './remedy-parts.ts';

export const rawCodes = {
  'raw-frame-refused': {
    weight: 'hold',
    title: 'the frames are DNG files that this version does not develop',
    remedy:
      'Develop the clip with the software of its camera, or declare a decoder for it in the settings. Sensor values under a 2 x 2 colour pattern, and LinearRaw of red, green and blue, are developed here.',
  },
  'raw-frames-differ': {
    weight: 'hold',
    title: 'the raw frames of a clip differ in their camera settings',
    remedy:
      'Compare the frame named with the card and with its neighbours. If frames of different shots are in one folder, copy each shot again into a folder of its own, and run again. If the camera changed white balance or levels within the shot, develop the clip with the software of its camera.',
  },
  'raw-exposure-varies': {
    weight: 'note',
    title: 'the exposure that the camera states varies within a raw clip',
    remedy: 'Check the camera report, if this was not intended. Masters carry the value of the first frame.',
  },
  'raw-opcode-not-applied': {
    weight: 'hold',
    title: 'raw frames require corrections that this version does not make',
    remedy:
      'Set `raw: { corrections: leave }` in the settings to go on without any correction, and make them in finishing; or develop the clip with the software of its camera. By its own words the picture is wrong without these lens or sensor corrections.',
  },
  'raw-opcode-left-out': {
    weight: 'note',
    title: 'corrections that raw frames ask for were not made',
    remedy:
      'Correct lens and sensor in finishing, if you want it. Either the camera says that these corrections are optional, or the settings say `leave`.',
  },
  'raw-tag-left-out': {
    weight: 'note',
    title: 'raw frames carry colour tags that this version does not use',
    remedy:
      'Do nothing: colours follow from the matrices alone. A look that the camera stores is not part of a grading master.',
  },
  'raw-no-decoder': {
    weight: 'hold',
    title: 'no decoder reads these raw frames',
    remedy:
      "Install LibRaw's programs (package libraw-bin), name its unprocessed_raw with RUSHLIGHT_UNPROCESSED_RAW, or declare a decoder in the settings.",
  },
  'raw-frame-undecodable': {
    weight: 'hold',
    title: 'a raw frame cannot be decoded',
    remedy: `${COMPARE} If every copy is the same, the shot is damaged or needs another decoder: do not erase the card.`,
  },
  'decoder-file-unreadable': {
    weight: 'hold',
    title: 'the file that declares a decoder cannot be read',
    remedy: 'Correct the line named. docs/decoders.md shows a file that can be read.',
  },
  'decoder-file-wrong': {
    weight: 'hold',
    title: 'a declared decoder has an impossible value',
    remedy: 'Correct the field named. docs/decoders.md lists every field and its values.',
  },
  'decoder-program-missing': {
    weight: 'hold',
    title: 'the program of a declared decoder does not exist',
    remedy: 'Install the program, or correct its path in the file that declares the decoder.',
  },
  'decoder-differs': {
    weight: 'hold',
    title: "a worker has another version of a clip's decoder than the run was planned with",
    remedy: 'Install the same program on every machine of the farm, or stop the worker named, and run again.',
  },
  'decoder-failed': {
    weight: 'hold',
    title: 'a declared decoder did not give exactly the pictures of a clip',
    remedy:
      'Run its command yourself on this clip, and read its output. If the output is right, correct the file that declares the decoder. If the clip cannot be read, copy it again from another copy.',
  },
  'declared-clip-no-movie': {
    weight: 'hold',
    title: 'the profile has no display to show the pictures of a declared decoder for',
    remedy:
      'Add `display` to the profile (`profiles show editorial-vc3` has one), or deliver it by a profile that has it, state `input` in the settings, and leave `output: as-recorded` out of the settings of such clips. Or make masters of it (`--profile grading-master-exr`).',
  },
  'decoder-metadata-incomplete': {
    weight: 'hold',
    title: 'a declared decoder does not give all that is needed to know a clip',
    remedy:
      'Run the command under `probe` yourself on this clip, and correct where each value is found in its output.',
  },
} as const satisfies Record<string, CodeEntry>;
