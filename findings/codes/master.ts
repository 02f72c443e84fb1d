/** Codes of masters: folders of frames whose values are held against their source. */
import type { CodeEntry } from '../entry.ts';

const MAKE_AGAIN =
  'Nothing is published. Run again; if it comes again for the same clip, look at that frame in the source and keep the report with it.';

export const masterCodes = {
  'master-frames-differ': {
    weight: 'hold',
    title: 'a master has not exactly the frames of its clip',
    remedy: MAKE_AGAIN,
  },
  'master-structure-wrong': {
    weight: 'hold',
    title: 'a frame of a master is not whole, or not of its form',
    remedy: `${MAKE_AGAIN} Check the volume.`,
  },
  'master-header-differs': {
    weight: 'hold',
    title: 'the header of a frame says something else than was decided',
    remedy: MAKE_AGAIN,
  },
  'master-pixels-differ': {
    weight: 'hold',
    title: 'values of a master are not those of the source through its transform',
    remedy: MAKE_AGAIN,
  },
  'master-not-finite': {
    weight: 'hold',
    title: 'a frame of a master has values that are no numbers',
    remedy: MAKE_AGAIN,
  },
  'master-spot-check-differs': {
    weight: 'hold',
    title: 'a frame of a master differs from the source decoded and developed by other means',
    remedy: MAKE_AGAIN,
  },
  'transform-absent': {
    weight: 'hold',
    title: 'the file of a colour transform is not there any more',
    remedy:
      'Copy the reports folder back from another copy of the delivery, or run again with the same settings.',
  },
  'frame-develop-failed': {
    weight: 'hold',
    title: 'a frame could not be made into a master',
    remedy:
      'Look at the frame named in the source. If it is damaged there, take it from another copy; if it is whole, keep it with the report.',
  },
} as const satisfies Record<string, CodeEntry>;
