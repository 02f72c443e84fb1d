/** Codes of raw clips: frames that cannot be developed, sequences that are not of one camera setting, decoders. */
import type { CodeEntry } from '../entry.ts';

export const rawCodes = {
  'raw-frame-refused': {
    weight: 'hold',
    title: 'the frames are DNG files that this version does not develop',
    remedy:
      'Only sensor values under a 2 x 2 colour pattern are developed here. Develop the clip with the software of its camera, or declare a decoder for it in the settings.',
  },
  'raw-frames-differ': {
    weight: 'hold',
    title: 'the raw frames of a clip are not all of one camera setting',
    remedy:
      'Compare the frame named with the card and with its neighbours. Frames of different shots may have come into one folder: part them and run again. A camera that changes white balance or levels within a shot needs a person to choose one.',
  },
  'raw-exposure-varies': {
    weight: 'note',
    title: 'the exposure that the camera states is not the same in all frames of a raw clip',
    remedy: 'Nothing, if the shot was exposed so. Masters carry what the first frame states.',
  },
  'raw-opcode-not-applied': {
    weight: 'hold',
    title: 'raw frames ask for corrections that this version does not make',
    remedy:
      'The camera says that the picture is wrong without them (lens or sensor corrections). Develop the clip with the software of its camera.',
  },
  'raw-opcode-left-out': {
    weight: 'note',
    title: 'raw frames offer corrections that this version does not make',
    remedy:
      'Nothing: the camera says that they may be left out. Lens corrections are then a matter for the grade.',
  },
  'raw-tag-left-out': {
    weight: 'note',
    title: 'raw frames carry colour tags that this version does not use',
    remedy:
      'Nothing: colours follow from the matrices alone. A look that the camera stores is not part of a grading master.',
  },
  'raw-no-decoder': {
    weight: 'hold',
    title: 'no decoder takes these raw frames',
    remedy:
      "Install LibRaw's programs (package libraw-bin), name its unprocessed_raw with RUSHLIGHT_UNPROCESSED_RAW, or declare a decoder in the settings.",
  },
  'raw-frame-undecodable': {
    weight: 'hold',
    title: 'a raw frame cannot be decoded',
    remedy:
      'Compare the frame with the card and with the other copies of the roll. If every copy is the same, the shot is damaged, or of a kind that needs another decoder: do not erase the card.',
  },
  'decoder-file-unreadable': {
    weight: 'hold',
    title: 'the file that declares a decoder cannot be read',
    remedy: 'Correct the line named; docs/decoders.md shows a file that reads well.',
  },
  'decoder-file-wrong': {
    weight: 'hold',
    title: 'a declared decoder says something that cannot be',
    remedy: 'Correct the field named; docs/decoders.md has every field with what it may hold.',
  },
  'decoder-program-missing': {
    weight: 'hold',
    title: 'the program of a declared decoder is not there',
    remedy: 'Install the program, or write its path into the file that declares the decoder.',
  },
  'decoder-differs': {
    weight: 'hold',
    title: "a worker has another version of a clip's decoder than the machine that planned the run",
    remedy: 'Install the same program on every machine of the farm, or take that machine out, and run again.',
  },
  'decoder-failed': {
    weight: 'hold',
    title: 'a declared decoder did not give exactly the pictures of a clip',
    remedy:
      'Run its command by hand on this clip and look at what it says. If it writes what it should, correct the file that declares it; if it cannot read the clip, take the clip from another copy.',
  },
  'declared-clip-no-movie': {
    weight: 'hold',
    title: 'movies are not made of what a declared decoder gives',
    remedy:
      'Choose a master profile for this roll, as grading-master-exr; movies are made from what is graded of its masters.',
  },
  'decoder-metadata-incomplete': {
    weight: 'hold',
    title: 'a declared decoder does not tell what a clip is',
    remedy:
      'Run the command under `probe` by hand on this clip, and correct where in its output each value is found.',
  },
} as const satisfies Record<string, CodeEntry>;
