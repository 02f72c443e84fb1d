/** Codes of the proof of content: a deliverable's fingerprints against its source's. */
import type { CodeEntry } from '../entry.ts';
import { inDelivery } from './remedy-parts.ts';

const MAKE_AGAIN = inDelivery(
  "If it repeats for the same clip, look at that frame in the source, make the file yourself with the report's command, compare, and try a newer ffmpeg.",
);
const NEWER = inDelivery('If it repeats, try a newer ffmpeg.');

export const proofCodes = {
  'fingerprints-absent': {
    weight: 'hold',
    title: 'the frame fingerprints of the source are missing',
    remedy:
      'Restore the reports folder from another copy of the delivery: without fingerprints the deliverable cannot be proved. If there is none and the roll is still there, run again: the clip is made again.',
  },
  'fingerprints-damaged': {
    weight: 'hold',
    title: 'the frame fingerprints of the source cannot be read, or are not those that the report names',
    remedy:
      'Restore the file from another copy of the delivery, and keep this one until then. If there is none and the roll is still there, run again: the clip is made again. Check the delivery drive.',
  },
  'decode-other-clip': {
    weight: 'hold',
    title: 'the encoder received frames that are not from this clip',
    remedy:
      'Look for a wrapper around ffmpeg that opens another file: the frames that the encoder received differ from the clip, decoded a second time. Name the real program with --ffmpeg, and run again.',
  },
  'fields-stated-otherwise': {
    weight: 'hold',
    title: 'two statements of the clip contradict each other about which field is the earlier one',
    remedy:
      'Look at a frame of the clip in which something moves: played field by field in the wrong order, it jumps back and forth. Have the file stated rightly by whoever made it, or deliver it outside Rushlight.',
  },
  'turn-differs': {
    weight: 'hold',
    title: 'the clip was taken in turned or mirrored otherwise than its file says',
    remedy:
      'Run again with a newer ffprobe (`--ffprobe`): how pictures are to be seen is read of the file a second time, and both readings must agree. A file that is no MOV, MP4 or Matroska, and Matroska that was written without known lengths, cannot be read a second time: copy its streams, unchanged, into a new MOV or Matroska file outside Rushlight, and deliver that.',
  },
  'source-read-differs': {
    weight: 'hold',
    title: 'two programs read different data from the same clip',
    remedy:
      'Check the drive, its cable and the memory of the machine: something changes data between disk and encoder. Verify the roll with `rushlight check <day>`, and run again.',
  },
  'sound-read-differs': {
    weight: 'hold',
    title: 'the checker hears other audio than the probe measured in a sound file or in parts of a recording',
    remedy:
      'Check the drive, its cable and the memory of the machine: something changes data between disk and program. Verify the roll with `rushlight check <day>`, and run again. If it stays so, keep the files: one of two readers of them is wrong.',
  },
  'sound-place-differs': {
    weight: 'hold',
    title: 'the checker does not hear a recording where it was laid beside its clip',
    remedy:
      'Compare clip and recording by ear at the places that are named. Deliver these clips with a profile that carries no production sound, and let the editor lay it by the slate. If the recording lies right by ear, keep the files: one of two ways of listening is wrong.',
  },
  'decode-times-differ': {
    weight: 'hold',
    title: 'the decoder gave other frame times than the packets have',
    remedy:
      'Run again: frames were lost or doubled in decoding. If it repeats, decode the clip yourself, compare it with another copy, and try a newer ffmpeg.',
  },
  'frame-missing': { weight: 'hold', title: 'a frame of the source is missing', remedy: MAKE_AGAIN },
  'frame-repeated': {
    weight: 'hold',
    title: 'a frame is repeated in place of the next one',
    remedy: MAKE_AGAIN,
  },
  'frames-frozen': {
    weight: 'hold',
    title: 'the picture is frozen where the source moves',
    remedy: MAKE_AGAIN,
  },
  'frames-swapped': { weight: 'hold', title: 'two frames are swapped', remedy: MAKE_AGAIN },
  'frames-shifted': { weight: 'hold', title: 'frames are out of place', remedy: MAKE_AGAIN },
  'frame-foreign': { weight: 'hold', title: 'a frame does not come from the clip', remedy: MAKE_AGAIN },
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
  'frame-colour-differs': {
    weight: 'hold',
    title: 'a frame has other colours than its source frame',
    remedy: MAKE_AGAIN,
  },
  'picture-turned': {
    weight: 'hold',
    title: 'the picture is flopped or upside down',
    remedy: inDelivery(
      "If it repeats, look at the clip's rotation (`facts.video.rotation` in the clip report), and try a newer ffmpeg.",
    ),
  },
  'picture-displaced': {
    weight: 'hold',
    title: 'the picture is cropped, scaled or placed otherwise than the profile says',
    remedy: NEWER,
  },
  'fields-reversed': {
    weight: 'hold',
    title: 'the fields of an interlaced clip were taken in the wrong order',
    remedy:
      'Look at a moving edge in the clip, frame by frame. If the field order of the clip is tagged wrongly, correct the tag in a copy outside Rushlight and deliver that copy. Otherwise try a newer ffmpeg.',
  },
  'split-frames-not-as-decoded': {
    weight: 'hold',
    title: 'a frame that was made of a field is not of its own field',
    remedy:
      'Run the same command again. If it happens again, update ffmpeg, or use a profile with `interlaced: deinterlace`, which makes one frame of each frame.',
  },
  'range-wrong': {
    weight: 'hold',
    title: 'levels are raised or crushed: the range is not what the tag says',
    remedy: inDelivery(
      "If it repeats, the source may be tagged with the wrong range: compare its black level with the camera's documentation.",
    ),
  },
  'matrix-wrong': {
    weight: 'hold',
    title: 'colours are off: the matrix is not what the tag says',
    remedy: NEWER,
  },
  'encoder-input-differs': {
    weight: 'hold',
    title: 'the encoder was given another picture than the source makes by the profile',
    remedy: inDelivery(
      'If it repeats, note what `rushlight doctor` says of ffmpeg, and try another version of it: its filters do other arithmetic than was asked for.',
    ),
  },
  'bars-not-black': {
    weight: 'hold',
    title: 'what lies around the picture is not black, or the picture not in its middle',
    remedy: inDelivery(
      'If it repeats, note what `rushlight doctor` says of ffmpeg, and try another version of it. Until then use a profile with `raster.policy: fit`, which has nothing around the picture.',
    ),
  },
  'colour-way-differs': {
    weight: 'hold',
    title:
      'the pictures went another way from the recorded code values to those of the display than the settings state',
    remedy: inDelivery(
      'If it repeats, note what `rushlight doctor` says of ffmpeg, and try another version of it: its filters do other arithmetic than was asked for.',
    ),
  },
  'encoder-input-limited': {
    weight: 'note',
    title: 'the picture has values beyond what the deliverable can hold: they were limited to it',
    remedy:
      "Look at the brightest, darkest and most saturated parts of the clip in the deliverable: what lies beyond is in the source alone, which is untouched. If it is wanted, deliver it also by a profile whose `colour.matrix` and `colour.range` are the source's (range `limited` has room beyond black and white), and whose `raster.policy` is `native`, which adds no overshoot. What a master of codes cannot hold is in `grading-master-exr`, up to 65504 and down to -65504: deliver that one too.",
  },
  'burn-in-differs': {
    weight: 'hold',
    title: 'burnt-in text is not what the frame must show',
    remedy: inDelivery(
      'If it repeats, look at the frame. Note what `rushlight doctor` says of ffmpeg, and try another version of it. Until then use a profile with `burn_in: []`.',
    ),
  },
  'burn-in-invisible': {
    weight: 'hold',
    title: 'burnt-in text cannot be read against its ground',
    remedy: inDelivery('If it repeats, look at the frame, and try another version of ffmpeg.'),
  },
  'levels-differ': {
    weight: 'hold',
    title: "levels or colours are not the source's after the profile's conversion",
    remedy: inDelivery(
      "If it repeats, make the file yourself with the report's command, and compare it with the source.",
    ),
  },
  'light-levels-differ': {
    weight: 'hold',
    title: 'MaxCLL or MaxFALL is not that of the pictures',
    remedy: inDelivery(
      'If it repeats, measure MaxCLL and MaxFALL of the file with another program, and compare.',
    ),
  },
  'audio-displaced': {
    weight: 'hold',
    title: 'the audio is out of sync with the picture',
    remedy: inDelivery(
      'If it repeats, compare start and end of the audio in source and deliverable, by ear and by waveform, and try a newer ffmpeg.',
    ),
  },
  'audio-channels-wrong': {
    weight: 'hold',
    title: 'audio is on another channel than in the source',
    remedy: inDelivery('If it repeats, look at the channel layout that the clip is tagged with.'),
  },
  'audio-altered': {
    weight: 'hold',
    title: "the audio differs from the source's",
    remedy: inDelivery('If it repeats, listen to source and deliverable at the place named.'),
  },
  'audio-foreign': {
    weight: 'hold',
    title: 'the deliverable has audio that is not in the clip',
    remedy: inDelivery('If it repeats, look for a wrapper around ffmpeg that opens another file.'),
  },
  'picture-error-frame': {
    weight: 'hold',
    title: 'coding lost more of a frame than of the frames around it',
    remedy: MAKE_AGAIN,
  },
  'picture-error-region': {
    weight: 'hold',
    title: 'a part of the picture is not what the encoder was given, in frame after frame',
    remedy: inDelivery(
      "If it repeats, look at that part of the picture in source and deliverable, make the file yourself with the report's command, and compare.",
    ),
  },
  'picture-error-stated': {
    weight: 'hold',
    title: 'the file differs from what the encoder was given by more than the encoder states',
    remedy: inDelivery(
      'Look for a wrapper around ffmpeg that changes pictures on their way to the encoder. Name the real program with --ffmpeg.',
    ),
  },
  'picture-error-drift': {
    weight: 'hold',
    title:
      'contrast, brightness, colour or place is not what the encoder was given, or neighbouring frames are mixed in',
    remedy: inDelivery(
      'Look for a wrapper around ffmpeg that changes pictures on their way to the encoder. Name the real program with --ffmpeg.',
    ),
  },
  'picture-error-large': {
    weight: 'hold',
    title: 'coding lost more of the picture than the profile and its content allow',
    remedy: inDelivery(
      "If it repeats, compare source and deliverable by eye at the frame named. Where the loss is the codec's own and acceptable, lower `picture_error.least_psnr` in a profile of your own, under another name; otherwise choose a codec or quality that keeps more.",
    ),
  },
  'pictures-not-kept': {
    weight: 'hold',
    title: 'the decoded pictures are not, bit for bit, those of the source',
    remedy: MAKE_AGAIN,
  },
  'audio-not-kept': {
    weight: 'hold',
    title: 'the samples of an audio track are not those of the source',
    remedy: inDelivery('If it repeats, compare the track in source and deliverable, and try a newer ffmpeg.'),
  },
  'bitstream-differs': {
    weight: 'hold',
    title: 'the file does not have the bytes that left the encoder',
    remedy:
      'Restore the file from another copy of the delivery, if an audit found this. In a run, check the delivery drive, its cable and the memory of the machine before anything else is written there, then run again: something changed data between encoder and disk.',
  },
} as const satisfies Record<string, CodeEntry>;
