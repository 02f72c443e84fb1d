/** Codes about what people are handed in the morning: the folder `handover` of a day, and its way to other drives. */
import type { CodeEntry } from '../entry.ts';

export const handoverCodes = {
  'handover-source-differs': {
    weight: 'hold',
    title: 'the records of a ready roll do not say what is handed over of it',
    remedy:
      'Run `rushlight audit <delivery>`: it says which record or file of the roll differs. Clear that and run again, which writes the handover.',
  },
  'handover-name-taken': {
    weight: 'hold',
    title: 'a file that is not of our making, or was changed, has the name of a file of the handover',
    remedy:
      'Move the file out of the folder `handover` of the day and keep it, if anybody needs it. Then run again. Save edits under names of your own, elsewhere.',
  },
  'handover-not-written': {
    weight: 'hold',
    title: 'the handover of a day could not be written',
    remedy:
      'Look at the drive of the delivery: whether it is there, has room and takes writing. Then run again. The verdicts of the rolls do not rest on it.',
  },
  'handover-file-differs': {
    weight: 'hold',
    title: 'a file of the handover is not the one that was written',
    remedy:
      'Do not hand it on. Move the file out of the folder, keep it if somebody changed it on purpose, and run again: it is written from the records.',
  },
  'handover-file-absent': {
    weight: 'hold',
    title: 'a file of the handover is not there',
    remedy: 'Run again: it is written from the records.',
  },
  'handover-damaged': {
    weight: 'hold',
    title: 'the statement of the handover cannot be read',
    remedy:
      'Move the folder `handover` of the day away, and run again: it is written from the records. Then compare, if anybody worked with it.',
  },
  'handover-outdated': {
    weight: 'hold',
    title: 'the handover is of other rolls, or of an earlier verdict on them',
    remedy: 'Run again: the handover is written from the verdicts as they are now.',
  },
  'handover-absent': {
    weight: 'note',
    title: 'a day with ready rolls has no handover',
    remedy: 'Run again, if bins and lists are wanted: older versions wrote none.',
  },
  'roll-name-reserved': {
    weight: 'hold',
    title: 'a roll has the name of the folder that a day is handed over in',
    remedy: 'Give the folder of the roll another name, in the shoot day and in every copy, and run again.',
  },
  'handover-nothing-ready': {
    weight: 'hold',
    title: 'no roll of the delivery is ready to be handed over',
    remedy: 'Run `rushlight status <delivery>`: it says why each roll is held. Nothing was copied.',
  },
  'handover-roll-left': {
    weight: 'note',
    title: 'a roll that is held is not handed over',
    remedy:
      'Clear the findings of the roll, run again, and hand over again: only what is missing is copied. What was copied is right without it.',
  },
  'handover-drive-full': {
    weight: 'hold',
    title: 'a drive has too little room for what is to be copied',
    remedy:
      'Name a drive with more room, or make room on this one. Nothing was copied to it. Start the same command again.',
  },
  'handover-target-taken': {
    weight: 'hold',
    title: 'another file has the name of one that is to be copied; it was left as it is',
    remedy:
      "Find out what the file on the drive is: an older handover, or somebody's own. Move it away, or name another folder of the drive, and start the same command again.",
  },
  'handover-copy-differs': {
    weight: 'hold',
    title: 'what was read back from a drive is not what was handed over',
    remedy:
      'Do not hand this drive on. Check its cable and the drive itself, or take another one. Start the same command again: what differs was not given its name.',
  },
  'handover-read-differs': {
    weight: 'hold',
    title: 'a file of the delivery is not the one that its statement names; it was not copied',
    remedy:
      'Run `rushlight audit <delivery>`: it says what differs. Run again, or restore the file from another copy of the delivery, and hand over again.',
  },
  'handover-copy-failed': {
    weight: 'hold',
    title: 'a file could not be copied to a drive',
    remedy:
      'Look at the drive: whether it is there, takes writing and has room. Start the same command again: only what is missing is copied.',
  },
} as const satisfies Record<string, CodeEntry>;
