/** Codes of a clip and what was measured of it (survey). What decoding shows is in deliverable.ts, what a profile refuses in profile.ts. */
import type { CodeEntry } from '../entry.ts';

const COMPARE = 'Compare the file with the card and with the other copies of the roll.';

export const clipCodes = {
  // Which files are clips.
  'file-unrecognised': {
    weight: 'hold',
    title: 'a file of the roll is neither a clip nor a kind of file known to stand beside clips',
    remedy:
      'Look at the file. If it is no clip, name it (or a pattern for such files) with --ignore and run again. If it is a clip, it must be delivered by other means: this version does not read its form.',
  },

  // Movies.
  'clip-empty': {
    weight: 'hold',
    title: 'the clip is empty',
    remedy: `${COMPARE} A camera that loses power can leave an empty file; then the shot does not exist and the production must know before the card is erased.`,
  },
  'clip-playlist': {
    weight: 'hold',
    title: 'a text file calls itself a movie',
    remedy:
      'A list of other files is never followed. Find out how it came into the roll; name it with --ignore if it belongs there and is no clip.',
  },
  'clip-not-media': {
    weight: 'hold',
    title: 'the file is no movie, whatever its name says',
    remedy: `${COMPARE} If it is equal everywhere and is no clip, name it with --ignore.`,
  },
  'clip-no-index': {
    weight: 'hold',
    title: 'the clip has no index, so its frames cannot be found',
    remedy: `${COMPARE} If every copy is the same, the recording was never closed: the camera may be able to repair it while the card still exists. Do not erase the card.`,
  },
  'clip-not-closed': {
    weight: 'hold',
    title: 'the recording was never closed',
    remedy: `${COMPARE} If every copy is the same, the camera may be able to repair the clip while the card still exists. Do not erase the card.`,
  },
  'clip-unreadable': {
    weight: 'hold',
    title: 'the clip cannot be opened',
    remedy: `${COMPARE} If every copy is the same, the file is damaged on the card, or of a kind that this ffmpeg does not read (see \`rushlight doctor\`).`,
  },
  'clip-reader-died': {
    weight: 'hold',
    title: 'the process that read the clip was ended by it',
    remedy: `${COMPARE} If every copy is the same, keep the file and deliver this clip by hand: its header makes the reader crash, run out of memory or never return, and the other clips were read without it. A drive that no longer answers looks the same: check it, and run again.`,
  },
  'clip-truncated': {
    weight: 'hold',
    title: 'the clip ends before its index says so',
    remedy: `${COMPARE} Take the file from a copy that has all of it. If every copy is the same, the shot is damaged: do not erase the card.`,
  },
  'clip-read-errors': {
    weight: 'hold',
    title: 'reading the clip reported errors',
    remedy: `${COMPARE} Play the clip where the errors are. If every copy is the same, the shot is damaged and must be delivered by hand.`,
  },
  'clip-no-picture': {
    weight: 'hold',
    title: 'the clip has no picture',
    remedy:
      'Files with audio or timecode alone are no clips for proxies: name this one with --ignore if that is right. Otherwise compare with the card.',
  },
  'clip-no-frames': {
    weight: 'hold',
    title: 'the clip has a picture track without a frame to show',
    remedy: `${COMPARE} If every copy is the same, nothing was recorded, or an edit list hides all of it.`,
  },
  'clip-no-decoder': {
    weight: 'hold',
    title: 'this ffmpeg cannot decode the picture',
    remedy:
      'Install a full build of ffmpeg, or name another one with RUSHLIGHT_FFMPEG. A codec that no ffmpeg knows must be converted by other means.',
  },
  'clip-several-pictures': {
    weight: 'note',
    title: 'the clip has several pictures; one of them is used',
    remedy: 'Check that the picture used is the one wanted; the others are in the source file only.',
  },
  'clip-hidden-frames': {
    weight: 'note',
    title: 'the edit list of the clip hides frames; they are not part of the clip',
    remedy: 'Nothing, if the clip was trimmed on purpose. The hidden frames are in the source file only.',
  },
  'clip-claims-less': {
    weight: 'note',
    title: 'the header of the clip claims fewer frames than there are',
    remedy: 'Nothing: all frames are used. Other programs may stop at the claim.',
  },
  'clip-rotation-unsupported': {
    weight: 'hold',
    title: 'the clip asks to be shown mirrored, slanted or turned by something else than quarters',
    remedy: 'Deliver this clip by hand: only turns by 90, 180 and 270 degrees are made.',
  },
  'clip-rate-varies': {
    weight: 'hold',
    title: 'the clip has no constant frame rate',
    remedy:
      'Timecode cannot count such a clip. Check the camera settings; convert the clip to a constant rate by hand, knowing which frames that repeats or drops, and put the result into a roll of its own.',
  },

  // Audio and timecode of a clip.
  'audio-offset': {
    weight: 'hold',
    title: 'audio and picture do not start together',
    remedy:
      'Play the beginning of the clip. If it is right as recorded, use a profile with `audio: { offset: fit }`: audio stays in its place, with silence before audio that starts late, and audio from before the first frame is cut off. Otherwise look for another copy.',
  },
  'audio-offset-small': {
    weight: 'note',
    title: 'audio and picture start less than half a frame apart',
    remedy: 'Nothing: less than can be seen. The offset is in the clip report.',
  },
  'audio-no-decoder': {
    weight: 'hold',
    title: 'this ffmpeg cannot decode an audio track of the clip',
    remedy:
      'Install a full build of ffmpeg, or name another one with RUSHLIGHT_FFMPEG. Otherwise the track must be converted by other means.',
  },
  'timecode-invalid': {
    weight: 'hold',
    title: 'the clip carries a timecode that does not exist',
    remedy:
      'Check the project rate and the timecode settings of the camera. The clip needs a right timecode before it can be delivered.',
  },

  // Numbered stills.
  'sequence-gap': {
    weight: 'hold',
    title: 'frames are missing from a numbered sequence',
    remedy: `${COMPARE} If the frames are missing everywhere, the camera dropped them: do not erase the card.`,
  },
  'sequence-duplicate': {
    weight: 'hold',
    title: 'two files of a sequence have the same number',
    remedy:
      'Compare both with the card, take out the one that does not belong there with --ignore, and run again.',
  },
  'sequence-numbering-mixed': {
    weight: 'hold',
    title: 'the numbers of a sequence are written in different ways',
    remedy:
      'Compare with the card. Frames of one shot carry numbers of one form, padded with zeros to one length or not at all.',
  },
  'sequence-foreign-file': {
    weight: 'hold',
    title: 'a file lies among the frames of a sequence and is none of them',
    remedy:
      'Look at the file. Name it with --ignore if it is no frame; otherwise compare the folder with the card.',
  },
  'sequence-sizes-differ': {
    weight: 'hold',
    title: 'frames of an uncompressed sequence have different file sizes',
    remedy: `${COMPARE} A frame that is smaller than the others is cut off.`,
  },
  'sequence-rasters-differ': {
    weight: 'hold',
    title: 'frames of a sequence differ in picture size or form',
    remedy:
      'Compare with the card. Frames of different shots may have come into one folder: part them and run again.',
  },
  'sequence-rate-unknown': {
    weight: 'hold',
    title: 'neither the frames nor you say at which rate a sequence runs',
    remedy: 'State the rate of sequences with --rate (for example --rate 24) and run again.',
  },
  'sequence-rate-differs': {
    weight: 'hold',
    title: 'the rate of a sequence is not the same everywhere it is stated',
    remedy:
      'Compare the frames with the camera report. If the headers are right, run without --rate; if they disagree among themselves, compare with the card.',
  },
  'sequence-frame-damaged': {
    weight: 'hold',
    title: 'a frame of a sequence is damaged',
    remedy: `${COMPARE} Take the frame from a copy that has it whole. If every copy is the same, the shot is damaged: do not erase the card.`,
  },
  'sequence-timecode-breaks': {
    weight: 'hold',
    title: 'the timecode in the frames of a sequence does not count with the frames',
    remedy:
      'The camera may have dropped frames, or the files were numbered again. Compare with the card and the camera report.',
  },
  'sequence-timecode-static': {
    weight: 'note',
    title: 'every frame of a sequence carries the same timecode; it is not used',
    remedy: 'Nothing, unless the clip must relink by timecode: then find out why the timecode stood still.',
  },
  'stills-scene-linear': {
    weight: 'hold',
    title: 'the frames hold scene-linear values and need a transform before anybody can look at them',
    remedy:
      'A movie of scene-linear frames without a transform would show a wrong picture. Choose a master profile for this roll, with `input` in its settings.',
  },

  // Where a program, not the clip, is at fault.
  'clip-answer-cut-off': {
    weight: 'hold',
    title: 'the answer of ffprobe was cut off, twice',
    remedy:
      'Run again: nothing is said against the clip. If it comes again, run `rushlight doctor`, look for a wrapper in place of ffprobe, and name another one with RUSHLIGHT_FFPROBE.',
  },
} as const satisfies Record<string, CodeEntry>;
