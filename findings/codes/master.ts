/** Codes of masters: folders of frames whose values are compared with their source. */
import type { CodeEntry } from '../entry.ts';
import { inDelivery } from './remedy-parts.ts';

const REPEATS =
  'If it repeats for the same clip, look at that frame in the source and keep the report with it.';
const MAKE_AGAIN = inDelivery(REPEATS);

export const masterCodes = {
  'master-frames-differ': {
    weight: 'hold',
    title: 'a master does not have exactly the frames of its clip',
    remedy: MAKE_AGAIN,
  },
  'master-structure-wrong': {
    weight: 'hold',
    title: 'a frame of a master is incomplete or has the wrong file structure',
    remedy: `${MAKE_AGAIN} Check the delivery drive.`,
  },
  'master-header-differs': {
    weight: 'hold',
    title: 'the header of a frame is not what was decided',
    remedy: MAKE_AGAIN,
  },
  'master-pixels-differ': {
    weight: 'hold',
    title: "pixel values of a master are not the source's after its transform",
    remedy: MAKE_AGAIN,
  },
  'master-frames-not-as-decoded': {
    weight: 'hold',
    title: 'a frame of a master was not made from the frame that the decoder gave',
    remedy: MAKE_AGAIN,
  },
  'master-picture-differs': {
    weight: 'hold',
    title: 'a part of a frame of a master is not what its encoder was given',
    remedy: `${MAKE_AGAIN} Check the memory of the machine and the delivery drive.`,
  },
  'amf-differs': {
    weight: 'hold',
    title: 'the ACES Metadata File beside a master does not say what was done',
    remedy: MAKE_AGAIN,
  },
  'amf-transform-differs': {
    weight: 'hold',
    title: 'a transform that the ACES Metadata File names gives other values than it should, or is missing',
    remedy: MAKE_AGAIN,
  },
  'master-not-finite': {
    weight: 'hold',
    title: 'a frame of a master has NaN or infinite values',
    remedy: `${MAKE_AGAIN} If its profile has \`compression: dwaa\` or \`dwab\` and the source has values near 65504, whoever opens the frame finds infinite ones: take a compression without loss, such as \`zip\`.`,
  },
  'master-spot-check-differs': {
    weight: 'hold',
    title: 'a frame of a master differs from the source, decoded and developed a second time by other code',
    remedy: MAKE_AGAIN,
  },
  'master-over-bright': {
    weight: 'note',
    title: 'most of a clip is brighter than white: it may be developed or transformed wrongly',
    remedy:
      'Look at a frame of the master, pulled down by several stops. If the scene was that bright (snow, a lamp, the sky), do nothing. If not: of raw frames read `WhiteLevel` and `LinearizationTable` in a source file (`exiftool -u`); where the table goes beyond the white level, have the files written with the right one. Of other clips compare `input` in the settings with how the camera was set, and deliver again by a new profile name.',
  },
  'channels-left-out': {
    weight: 'note',
    title: 'a master leaves out channels of its source',
    remedy:
      'Keep the source frames where the channels named are needed: no deliverable has them. Do nothing, if the picture alone is wanted.',
  },
  'source-not-finite': {
    weight: 'hold',
    title: 'frames of the source have NaN or infinite values',
    remedy:
      'Look at the frames named in a program that shows values. Have whoever made them write them again with finite values, put them into a roll of their own with a manifest, and run again. No value is put in the place of one that the source does not have.',
  },
  'transform-absent': {
    weight: 'hold',
    title: 'the file of a colour transform is missing',
    remedy:
      'Restore the reports folder from another copy of the delivery. If there is none and the roll is still there, run again with the same --settings.',
  },
  'frame-develop-failed': {
    weight: 'hold',
    title: 'a frame could not be made into a master',
    remedy:
      'Look at the frame named in the source. If it is damaged there, copy it again from another copy. If it is intact, keep it with the report, and report both.',
  },
} as const satisfies Record<string, CodeEntry>;
