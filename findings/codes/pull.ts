/** Codes about a pull: masters of only the frames that a locked cut uses. */
import type { CodeEntry } from '../entry.ts';

export const pullCodes = {
  'cut-unreadable': {
    weight: 'hold',
    title: 'the cut cannot be read',
    remedy:
      'Look at the line that is named. Write the list out again as CMX 3600, one track of pictures, or the timeline as OpenTimelineIO, and give that file to --pull. Nothing was made.',
  },
  'pull-profile': {
    weight: 'hold',
    title: 'a pull is asked for in a profile that makes no folder of frames',
    remedy:
      'Name a profile of frames with --profile, such as grading-master-exr: `rushlight profiles list` has them all. A movie is made of whole clips, without --pull.',
  },
  'pull-clip-absent': {
    weight: 'note',
    title: 'the cut uses a clip that the day does not have',
    remedy:
      'Do nothing if it was shot on another day: run that day with the same cut. If it is of this day, look at the roll, and at the reel and the timecode that the cut has: they must be those of the clip, its proxies or its masters.',
  },
  'pull-clip-ambiguous': {
    weight: 'hold',
    title: 'what the cut uses may be one clip of the day or another',
    remedy:
      'Write the list out again with reel names and `* FROM CLIP NAME` or `* SOURCE FILE` comments that name one clip, and run with that file; or take the right roll alone, with --roll. Nothing was made of this use.',
  },
  'pull-frames-outside': {
    weight: 'hold',
    title: 'the cut uses frames that its clip does not have',
    remedy:
      'Compare the timecode of the event with that of the clip (`log.csv` in the handover of the day). If the clip was cut off or is another take, find the right one; if the cut was made with other proxies, write the list out again. The frames that the clip has are made.',
  },
  'pull-speed-union': {
    weight: 'note',
    title: 'a use runs backwards or changes its speed: all frames that it can show are made',
    remedy:
      'Do nothing: the frames are those of every way in which the list can be read, with handles, and some of them may not be needed. The effect itself is for finishing to make.',
  },
  'pull-not-followed': {
    weight: 'hold',
    title: 'it cannot be said which frames the cut uses',
    remedy:
      'Put a plain cut in its place, in a copy of the cut, over the frames of the source that the effect needs, and run with that copy; or make the master of the whole clip, without --pull. Nothing was made of this use.',
  },
  'pull-source-changed': {
    weight: 'hold',
    title: 'a clip is another one than that which was pulled before for the same cut',
    remedy:
      'Find out which of the two is the recording: compare the roll with the card, or with another copy. The frames that are there are left as they are. If they are of the wrong one, move the folder of the pull away and run again, or deliver to another folder.',
  },
  'pull-nothing': {
    weight: 'hold',
    title: 'the cut uses nothing of the rolls that were read',
    remedy:
      'Look at the notes beside this one: they name each use. If the cut is of another day, run that day with it. If it is of this one, compare its reels and timecodes with `log.csv` in the handover of the day.',
  },
  'pull-record-absent': {
    weight: 'hold',
    title: 'the record of a pull, or its copy of the cut, is not there',
    remedy:
      'Run the same pull again: it writes both, and makes only what is missing. Until then nobody can say that the frames are those of the cut.',
  },
  'pull-record-differs': {
    weight: 'hold',
    title: 'the record of a pull does not say what its cut and its rolls say',
    remedy:
      'Do not hand it on. Move the folder of the pull away and keep it, and run the same pull again into the same delivery.',
  },
} as const satisfies Record<string, CodeEntry>;
