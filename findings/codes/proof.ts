/** Codes of the proof of content: a deliverable's fingerprints against its source's. */
import type { CodeEntry } from '../entry.ts';

const MAKE_AGAIN =
  'Nothing is published. Run again; if it comes again for the same clip, look at that frame in the source and in a file made by hand with the command of the report, and try a newer ffmpeg.';

export const proofCodes = {
  'fingerprints-absent': {
    weight: 'hold',
    title: 'the frame fingerprints of the source are not there',
    remedy:
      'Without it the deliverable cannot be proved. Copy the reports folder back from another copy of the delivery, or run again: the clip is then made again.',
  },
  'fingerprints-damaged': {
    weight: 'hold',
    title: 'the frame fingerprints of the source cannot be read, or are others than the report names',
    remedy:
      'Copy the file back from another copy of the delivery, or delete it and run again: the clip is then made again. Check the volume.',
  },
  'decode-other-clip': {
    weight: 'hold',
    title: 'what was decoded is not this clip',
    remedy:
      'The pictures that the encoder took in differ from those of the clip decoded by itself. Look for a wrapper around ffmpeg that opens another file, and run again.',
  },
  'source-read-differs': {
    weight: 'hold',
    title: 'two programs read different data from the same clip',
    remedy:
      'Something between disk and encoder changes data: check the drive, its cable and the memory of the machine, verify the roll again with `rushlight check`, and run again.',
  },
  'decode-times-differ': {
    weight: 'hold',
    title: 'the decoder gave other frame times than the packets have',
    remedy:
      'Frames were lost or doubled in decoding. Run again; if it comes again, decode the clip by hand, take it from another copy, and try a newer ffmpeg.',
  },
  'frame-missing': { weight: 'hold', title: 'a frame of the source is missing', remedy: MAKE_AGAIN },
  'frame-repeated': {
    weight: 'hold',
    title: 'a frame is shown again in the place of the next',
    remedy: MAKE_AGAIN,
  },
  'frames-frozen': {
    weight: 'hold',
    title: 'the picture stands still where the source moves',
    remedy: MAKE_AGAIN,
  },
  'frames-swapped': { weight: 'hold', title: 'two frames have changed places', remedy: MAKE_AGAIN },
  'frames-shifted': { weight: 'hold', title: 'frames are not in their places', remedy: MAKE_AGAIN },
  'frame-foreign': { weight: 'hold', title: 'a frame shows what the clip does not have', remedy: MAKE_AGAIN },
  'frame-black': {
    weight: 'hold',
    title: 'a frame is black or empty where the source is not',
    remedy: MAKE_AGAIN,
  },
  'picture-damaged': {
    weight: 'hold',
    title: "a part of the picture is not the source's",
    remedy: MAKE_AGAIN,
  },
  'picture-turned': {
    weight: 'hold',
    title: 'the picture is mirrored or stands on its head',
    remedy:
      "Nothing is published. Look at the clip's rotation in the plan; run again, and try a newer ffmpeg if it comes again.",
  },
  'picture-displaced': {
    weight: 'hold',
    title: 'the picture is moved or enlarged against the source',
    remedy:
      'Nothing is published. It was cut or scaled otherwise than the profile says: run again, and try a newer ffmpeg if it comes again.',
  },
  'fields-reversed': {
    weight: 'hold',
    title: 'the fields of an interlaced clip were taken in the wrong order',
    remedy:
      'Look at a moving edge in the clip frame by frame. If the clip is tagged wrongly, set its field order in a copy with a tool of your choice and deliver that; else try a newer ffmpeg.',
  },
  'range-wrong': {
    weight: 'hold',
    title: 'levels are pushed or crushed: the range is not what the tag says',
    remedy:
      "Nothing is published. Run again; if it comes again, the source may be tagged with the wrong range: compare its black level with the camera's documentation.",
  },
  'matrix-wrong': {
    weight: 'hold',
    title: 'colours are off: the matrix is not what the tag says',
    remedy: 'Nothing is published. Run again, and try a newer ffmpeg if it comes again.',
  },
  'levels-differ': {
    weight: 'hold',
    title: "levels or colours are not the source's through the profile's conversion",
    remedy:
      'Nothing is published. Run again; compare source and a file made by hand with the command of the report.',
  },
  'audio-displaced': {
    weight: 'hold',
    title: 'audio is not in its place against the picture',
    remedy:
      'Nothing is published. Run again; if it comes again, compare start and end of the audio in source and deliverable by ear and by waveform, and try a newer ffmpeg.',
  },
  'audio-channels-wrong': {
    weight: 'hold',
    title: 'audio is on another channel than in the source',
    remedy:
      'Nothing is published. Run again; if it comes again, look at the channel layout that the clip is tagged with.',
  },
  'audio-altered': {
    weight: 'hold',
    title: 'audio is not as it is in the source',
    remedy:
      'Nothing is published. Run again; if it comes again, listen at the place named in source and deliverable.',
  },
  'audio-foreign': {
    weight: 'hold',
    title: 'audio that the clip does not have',
    remedy: 'Nothing is published. Run again; look for a wrapper around ffmpeg that opens another file.',
  },
  'pictures-not-kept': {
    weight: 'hold',
    title: 'what the file decodes to is not, sample for sample, what the source decoded to',
    remedy: MAKE_AGAIN,
  },
  'audio-not-kept': {
    weight: 'hold',
    title: 'the samples of an audio track are not those of the source',
    remedy:
      'Nothing is published. Run again; if it comes again, compare the track in source and deliverable, and try a newer ffmpeg.',
  },
  'bitstream-differs': {
    weight: 'hold',
    title: 'the file does not hold what left the encoder',
    remedy:
      'Something between encoder and disk changed the data: check the volume, its cable and the memory of the machine before anything else is written there, then run again.',
  },
} as const satisfies Record<string, CodeEntry>;
