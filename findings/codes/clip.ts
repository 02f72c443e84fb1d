/** Codes of a clip and what was measured of it (probe). What decoding shows is in deliverable.ts, what a profile refuses in profile.ts. */
import type { CodeEntry } from '../entry.ts';
import { COMPARE, KEEP_CARD } from './remedy-parts.ts';

const UNTIL_SETTLED = 'Do not erase the card before this is settled.';
const IGNORED = 'An ignored file is not delivered, and the roll can be ready without it.';

export const clipCodes = {
  // Which files are clips.
  'file-unrecognised': {
    weight: 'hold',
    title: 'a file of the roll is neither a clip nor a kind of file known beside clips',
    remedy: `Look at the file. If it is not a clip, name it (or a pattern for such files) with --ignore and run again. ${IGNORED} If it is a clip, deliver it outside Rushlight: this version does not read its format.`,
  },

  // Movies.
  'clip-empty': {
    weight: 'hold',
    title: 'the clip is empty',
    remedy: `${COMPARE} A camera that loses power can leave an empty file. Then the shot does not exist: report it to the production before the card is erased.`,
  },
  'clip-playlist': {
    weight: 'hold',
    title: 'a text file has the name of a movie',
    remedy: `Find out how the file came into the roll. If it belongs there and is not a clip, name it with --ignore. ${IGNORED} A list of other files is never followed.`,
  },
  'clip-not-media': {
    weight: 'hold',
    title: 'the file is not a movie, although its name says so',
    remedy: `${COMPARE} If it is the same everywhere and is not a clip, name it with --ignore. ${IGNORED}`,
  },
  'clip-no-index': {
    weight: 'hold',
    title: 'the clip has no index, so its frames cannot be found',
    remedy: `${COMPARE} If every copy is the same, the recording was never closed: the camera may be able to repair it from the card. Do not erase the card.`,
  },
  'clip-not-closed': {
    weight: 'hold',
    title: 'the recording was never closed',
    remedy: `${COMPARE} If every copy is the same, the camera may be able to repair it from the card. Do not erase the card.`,
  },
  'clip-unreadable': {
    weight: 'hold',
    title: 'the clip cannot be opened',
    remedy: `${COMPARE} If every copy is the same, the file is damaged on the card, or this ffmpeg does not read its kind (see \`rushlight doctor\`). Do not erase the card.`,
  },
  'clip-reader-died': {
    weight: 'hold',
    title: 'the process that read the clip crashed or did not return',
    remedy: `${COMPARE} Check that the drive answers, and run again. If every copy is the same, keep the file and deliver this clip outside Rushlight: its header makes the reader crash, run out of memory or never return. The other clips were read without it.`,
  },
  'clip-truncated': {
    weight: 'hold',
    title: 'the clip ends before its index says so',
    remedy: `${COMPARE} Copy the file again from a copy that has all of it. ${KEEP_CARD}`,
  },
  'clip-read-errors': {
    weight: 'hold',
    title: 'reading the clip reported errors',
    remedy: `${COMPARE} Play the clip where the errors are. ${KEEP_CARD} Deliver it outside Rushlight.`,
  },
  'clip-no-picture': {
    weight: 'hold',
    title: 'the clip has no picture',
    remedy: `Compare the file with the card. If it has only audio or timecode by intention, name it with --ignore. ${IGNORED}`,
  },
  'clip-no-frames': {
    weight: 'hold',
    title: 'the clip has a picture track without a visible frame',
    remedy: `${COMPARE} If every copy is the same, nothing was recorded, or an edit list hides all of it.`,
  },
  'clip-no-decoder': {
    weight: 'hold',
    title: 'this ffmpeg cannot decode the picture',
    remedy:
      'Install a full build of ffmpeg, or name another one with --ffmpeg. Convert a codec that no ffmpeg knows outside Rushlight.',
  },
  'clip-several-pictures': {
    weight: 'note',
    title: 'the clip has several picture tracks; one of them is used',
    remedy: 'Check that the right one is used. The others are in the source file only.',
  },
  'clip-hidden-frames': {
    weight: 'note',
    title: 'the edit list of the clip hides frames; they are not part of the clip',
    remedy: 'Do nothing, if the clip was trimmed on purpose. The hidden frames are in the source file only.',
  },
  'clip-claims-less': {
    weight: 'note',
    title: 'the header of the clip states fewer frames than there are',
    remedy: 'Do nothing: all frames are used. Other programs may stop at the stated number.',
  },
  'clip-rotation-unsupported': {
    weight: 'hold',
    title: 'the clip is turned in a way in which its samples cannot be moved',
    remedy:
      'Deliver this clip outside Rushlight: of movies and raw frames mirrored pictures and turns by 90, 180 and 270 degrees are made upright, where they are of whole frames and their chroma samples come to lie whole. Of a clip whose fields come to lie across, a master can be made by a profile with `interlaced: deinterlace`.',
  },
  'clip-rate-varies': {
    weight: 'hold',
    title: 'the clip has no constant frame rate',
    remedy:
      'Check the camera settings. To deliver the clip as a proxy, state `variable_rate: constant` for the clip, roll or camera in the settings: on a regular grid frames are repeated and left out, and all of them listed. Timecode cannot count a varying rate.',
  },
  'rate-not-made-constant': {
    weight: 'hold',
    title: 'the clip has no constant frame rate, and the profile cannot give it one',
    remedy:
      'Make this clip in profiles of movies that show pictures as recorded (`output: as-recorded` in the settings), and state `project_rate` where its own rate is none that timecode counts.',
  },
  'rate-made-constant': {
    weight: 'note',
    title: 'the clip has no constant frame rate; the deliverable has one, on a regular grid',
    remedy:
      'Do nothing if the editor wants it so. The frames that are repeated or left out are listed in the outcome (`cadence.constant`), counted from 0. To hold such clips, state `variable_rate: hold`.',
  },

  // Audio and timecode of a clip.
  'audio-offset': {
    weight: 'hold',
    title: 'audio and picture do not start together',
    remedy:
      'Play the beginning of the clip, and compare it with another copy. If it was recorded so, use a profile with `audio: { offset: fit }`: audio stays in its place, with silence before audio that starts late, and audio from before the first frame is cut off.',
  },
  'audio-offset-small': {
    weight: 'note',
    title: 'audio and picture start less than half a frame apart',
    remedy: 'Do nothing: it cannot be seen. The offset is in the clip report.',
  },
  'audio-no-decoder': {
    weight: 'hold',
    title: 'this ffmpeg cannot decode an audio track of the clip',
    remedy:
      'Install a full build of ffmpeg, or name another one with --ffmpeg. Otherwise convert the track outside Rushlight.',
  },
  'timecode-kept-as-text': {
    weight: 'note',
    title: 'the timecode of frames above 30 a second does not say how it counts, and is kept as text',
    remedy:
      "Read the label in the clip's facts (`metadata.timecode`), and set that start in the project where the clip is used. Deliverables count as they do for a clip without timecode.",
  },
  'timecode-invalid': {
    weight: 'hold',
    title: 'the clip has a timecode that does not exist',
    remedy:
      'Check the project rate and the timecode settings of the camera. Correct the timecode in a copy outside Rushlight, and deliver that copy.',
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
    remedy: 'Compare both with the card, exclude the wrong one with --ignore, and run again.',
  },
  'sequence-numbering-mixed': {
    weight: 'hold',
    title: 'the numbers of a sequence are written in different ways',
    remedy:
      'Compare the names with the card. Frames of one shot are numbered in one way: padded with zeros to one length, or not at all.',
  },
  'sequence-foreign-file': {
    weight: 'hold',
    title: 'a file among the frames of a sequence is not one of them',
    remedy:
      'Look at the file. If it is not a frame, exclude it with --ignore. Otherwise compare the folder with the card.',
  },
  'sequence-sizes-differ': {
    weight: 'hold',
    title: 'frames of an uncompressed sequence have different file sizes',
    remedy: `${COMPARE} A frame that is smaller than the others is cut off.`,
  },
  'sequence-rasters-differ': {
    weight: 'hold',
    title: 'frames of a sequence differ in raster, pixel format or primaries',
    remedy:
      'Compare the frames with the card. If frames of different shots are in one folder, copy each shot again into a folder of its own, and run again.',
  },
  'sequence-rate-unknown': {
    weight: 'hold',
    title: 'the frame rate of a sequence is not known',
    remedy:
      'State the rate of sequences with --rate (for example `--rate 24` or `--rate 24000/1001`), and run again.',
  },
  'sequence-rate-differs': {
    weight: 'hold',
    title: 'the rate of a sequence is not stated the same everywhere',
    remedy:
      'Compare the frames with the camera report. If the headers are right, run without --rate. If they disagree among themselves, compare the frames with the card.',
  },
  'sequence-frame-damaged': {
    weight: 'hold',
    title: 'a frame of a sequence is damaged',
    remedy: `${COMPARE} Copy the frame again from a copy where it is intact. ${KEEP_CARD}`,
  },
  'sequence-timecode-breaks': {
    weight: 'hold',
    title: 'the timecode in the frames of a sequence does not run on from frame to frame',
    remedy:
      'Compare the frames with the card and the camera report. The camera may have dropped frames, or the files were renumbered.',
  },
  'sequence-timecode-static': {
    weight: 'note',
    title: 'every frame of a sequence has the same timecode; it is not used',
    remedy: 'Find out why the timecode did not run, if the clip must relink by timecode.',
  },
  'frames-form-unread': {
    weight: 'hold',
    title: 'ffmpeg does not read OpenEXR frames that are stored in this way',
    remedy:
      'Write the frames again with the program that made them, without loss and in the form named, into a roll of their own with a manifest, and run again. Where the finding quotes this ffmpeg, a newer one may read them: name it with --ffmpeg and --ffprobe. Keep the card and the frames as they are: nothing is said against them.',
  },
  'stills-scene-linear': {
    weight: 'hold',
    title: 'the frames are scene-linear, and the profile has no display to show them for',
    remedy:
      'Add `display` to the profile (`profiles show editorial-vc3` has one), or deliver it by a profile that has it, state `input` in the settings, and leave `output: as-recorded` out of the settings of such clips. Or make masters of it (`--profile grading-master-exr`).',
  },

  // One recording in several files.
  'spanned-joined': {
    weight: 'note',
    title: 'several files are made as one clip, since they are one recording',
    remedy:
      'Do nothing if they are one take. If not, give their roll or the clip `spanned: { names: none }` in the settings, and every file is a clip of its own.',
  },
  'spanned-part-missing': {
    weight: 'hold',
    title: 'a part of a recording is missing among its files',
    remedy: `Look for the part on the card and in the other copies, and copy it into the roll with its checksum. ${UNTIL_SETTLED} If the files are no parts of one recording, give the roll or the clip \`spanned: { names: none }\` in the settings.`,
  },
  'spanned-not-continuous': {
    weight: 'hold',
    title: 'a part of a recording does not begin where the part before ends',
    remedy: `Compare the parts with the card: one may be missing, cut short, or renamed. ${UNTIL_SETTLED} If they are takes of their own, give the roll or the clip \`spanned: { names: none }\` in the settings. If they are one recording in another order, name its files in order as \`spanned: { parts: [...] }\` of the clip.`,
  },
  'spanned-no-timecode': {
    weight: 'hold',
    title: 'the parts of a recording have no timecode that shows that they belong together',
    remedy:
      'Look at the end of each part and the beginning of the next. If they are one recording, give the roll or the clip `spanned: { continue_by: order }` in the settings. If not, give it `spanned: { names: none }`.',
  },
  'spanned-parts-differ': {
    weight: 'hold',
    title: 'the parts of a recording are not of one form',
    remedy:
      'Give the roll or the clip `spanned: { names: none }` in the settings, and every file is a clip of its own. If they are one recording, compare the parts with the card first.',
  },
  'spanned-audio-filled': {
    weight: 'note',
    title: 'the audio of each part ends before its picture, and silence was put between the parts',
    remedy:
      'Do nothing: what the camera recorded lies in its place to the sample, and between the parts it recorded nothing. To have every part as a clip of its own, give the roll or the clip `spanned: { names: none }` in the settings.',
  },
  'spanned-audio-not-continuous': {
    weight: 'hold',
    title: 'the audio of a recording does not run on from one of its parts to the next',
    remedy: `Compare the parts with the card. ${UNTIL_SETTLED} Give the roll or the clip \`spanned: { names: none }\` in the settings to have every part as a clip of its own, with its audio in its place.`,
  },

  // Sound files beside frames.
  'sound-beside': {
    weight: 'note',
    title: 'a sound file is taken as the sound of frames',
    remedy: `Do nothing if it was recorded with them. If not, name it with --ignore and run again. ${IGNORED}`,
  },
  'sound-unmatched': {
    weight: 'note',
    title: 'a sound file beside frames belongs to no clip, and is delivered with none',
    remedy:
      'Find out what was recorded in it. If it belongs to frames of the roll, check that their settings state the right rate, or deliver it outside Rushlight. Leave its name as it is: copies with another name differ from their manifest.',
  },
  'sound-ambiguous': {
    weight: 'hold',
    title: 'sound files and frames fit each other in more than one way',
    remedy: `Find out which one was recorded with the frames. Name with --ignore those that are not to be delivered, so that one is left for the frames, and run again. ${IGNORED}`,
  },
  'sound-elsewhere': {
    weight: 'hold',
    title: 'a sound file has the name of frames, and by its own time was recorded at another one',
    remedy: `Compare the timecode of the frames with the sound report, and check that the settings state the right rate: at the rates of 1000/1001 a label of one hour is 3.6 s later by the clock. If the file is of another take, name it with --ignore and run again. ${IGNORED}`,
  },
  'sound-words-unread': {
    weight: 'note',
    title: 'what the recorder says of a take is not read',
    remedy:
      'Read scene, take and names of tracks in the sound report: they are missing from the records. The samples are whole and verified.',
  },
  'sound-roll-matched': {
    weight: 'note',
    title: 'a sound roll was laid beside the clips of the day',
    remedy:
      'Compare with the sound report. If clips that had sound are missing, check that recorder and cameras had the same time, and that settings state the right rate.',
  },
  'sound-time-differs': {
    weight: 'note',
    title: 'a recording and a clip heard the same at other times than theirs say',
    remedy:
      'Let the editor know, and lay the recording by what both heard: `recordings` in roll.json has both starts. Compare the clocks of recorder and camera, and check that the settings state the right rate: at the rates of 1000/1001 a label of one hour is 3.6 s later by the clock.',
  },
  'sound-heard-apart': {
    weight: 'note',
    title: 'what a recording and a clip both heard lies at other places of the take differently',
    remedy:
      'Let the editor know: the recording is laid by its time and the timecode alone. A recorder that stopped within the take, a clip that lost frames, or a loudspeaker that plays something twice can be the reason. Listen at the places that are named.',
  },
  'sound-drifts': {
    weight: 'note',
    title: 'a recording runs faster or slower than the audio of its clip',
    remedy:
      'Let the editor know: picture and sound part over the take. Check the clock of recorder and camera; a tenth of a percent is a recorder or a file that was set to another rate than it says.',
  },
  'sound-alone': {
    weight: 'note',
    title: 'a recording of a sound roll ran with no clip of the day',
    remedy:
      'Do nothing where it was recorded without picture. Otherwise compare its time with the timecode of the clips: a recorder whose clock was not set has no time, or a wrong one, and the editor must know.',
  },
  'sound-unreadable': {
    weight: 'hold',
    title: 'a sound file is not read',
    remedy: `${COMPARE} If it is the same everywhere, deliver it outside Rushlight: name it with --ignore and run again. ${IGNORED}`,
  },

  // No picture, though a header speaks of one.
  'clip-picture-unreadable': {
    weight: 'hold',
    title: 'no frame of the picture could be found or decoded',
    remedy: `${COMPARE} If every copy is the same, play it with the program of the camera's maker. If it plays there, deliver it outside Rushlight. If it does not, the file is damaged or was never finished: do not erase the card. Leave it out with --ignore once its loss is settled.`,
  },

  // What was left out.
  'files-ignored': {
    weight: 'note',
    title: 'media files were left out with --ignore',
    remedy: 'Look through the list. If one of them is a clip, run again with a narrower --ignore.',
  },

  // Where a program, not the clip, is at fault.
  'clip-answer-cut-off': {
    weight: 'hold',
    title: 'the answer of ffprobe was cut off, twice',
    remedy:
      'Run again: nothing is said against the clip. If it comes again, run `rushlight doctor`, look for a wrapper in place of ffprobe, and name another one with RUSHLIGHT_FFPROBE.',
  },
} as const satisfies Record<string, CodeEntry>;
