/** Codes of profiles: what a file says, what it cannot ask, and what a profile refuses of a clip. */
import type { CodeEntry } from '../entry.ts';

export const profileCodes = {
  // The file. Every finding names file, line and field.
  'profile-missing': {
    weight: 'hold',
    title: 'there is no profile of this name',
    remedy:
      'Run `rushlight profiles list` for the names, or give the path of a profile file, ending in .yaml.',
  },
  'profile-unreadable': {
    weight: 'hold',
    title: 'a profile file cannot be read as YAML',
    remedy:
      'Correct the line named. `rushlight profiles show editorial-vc3` prints a profile that reads well.',
  },
  'profile-field-unknown': {
    weight: 'hold',
    title: 'a profile has a field that does not exist',
    remedy:
      'Correct the spelling or take the field out; `rushlight profiles show` prints every field with its meaning.',
  },
  'profile-field-missing': {
    weight: 'hold',
    title: 'a profile leaves a field out',
    remedy: 'State the field, or take it over from another profile with `extends: <name>`.',
  },
  'profile-value-wrong': {
    weight: 'hold',
    title: 'a field of a profile has a value that it cannot have',
    remedy: 'Write one of the values named; `rushlight profiles show` prints every field with its meaning.',
  },
  'profile-combination': {
    weight: 'hold',
    title: 'two fields of a profile cannot stand together',
    remedy: 'Change one of the fields named.',
  },
  'profile-check-left-out': {
    weight: 'hold',
    title: 'a profile leaves out a check without which nothing counts as proved',
    remedy: 'Add the check to `checks`. No profile can do without it.',
  },
  'profile-extends-missing': {
    weight: 'hold',
    title: 'a profile extends a profile that is not there',
    remedy:
      'Put the profile that is extended beside this file as <name>.yaml, or extend a built-in one (`rushlight profiles list`).',
  },
  'profile-extends-circle': {
    weight: 'hold',
    title: 'profiles extend each other in a circle',
    remedy: 'Take `extends` out of one of them.',
  },
  'profile-name-taken': {
    weight: 'hold',
    title: 'two profiles have the same name',
    remedy: 'Rename one of them, file and field: folders, reports and relinking go by the name.',
  },
  'profile-tool-lacks': {
    weight: 'hold',
    title: 'this ffmpeg cannot do what a profile asks',
    remedy:
      'Install a full build of ffmpeg, name another one with RUSHLIGHT_FFMPEG, or leave the profile out with --profile. `rushlight doctor` shows what is there.',
  },

  // What a profile refuses of a clip, and what it assumes.
  'timecode-missing': {
    weight: 'hold',
    title: 'the clip has no timecode, and the profile stops such clips',
    remedy:
      'Find out why the camera wrote none. To deliver all the same, use a profile with `timecode: { missing: zero }`; cuts made with it cannot be relinked by timecode.',
  },
  'timecode-assumed': {
    weight: 'note',
    title: 'the clip has no timecode; the deliverable starts at zero',
    remedy: 'Nothing, unless the clip must relink by timecode: then find out why the camera wrote none.',
  },
  'timecode-impossible': {
    weight: 'hold',
    title: 'the timecode of the clip does not fit its frame rate',
    remedy:
      'Check the project rate of the camera. The clip needs a right timecode track before it can be delivered.',
  },
  'timecode-in-pairs': {
    weight: 'note',
    title: 'the timecode of the source counts every second frame; the deliverable counts every frame',
    remedy:
      'Nothing: the labels agree in hours, minutes and seconds, and every frame of the deliverable has its own label (SMPTE ST 12-1 counts pairs above 30 frames a second).',
  },
  'rate-unsupported': {
    weight: 'hold',
    title: 'the clip has a frame rate that timecode does not count',
    remedy:
      'Check the recording: the rates in use are 23.976, 24, 25, 29.97, 30, 47.952, 48, 50, 59.94, 60, 95.904, 96, 100, 119.88 and 120 frames a second. For a numbered sequence, state its rate with `--rate`.',
  },
  'interlaced-held': {
    weight: 'hold',
    title: 'the clip is interlaced, and the profile stops such clips',
    remedy:
      'Use a profile with `interlaced: deinterlace`, which makes one progressive frame of each frame, or deliver this clip by hand.',
  },
  'colour-untagged': {
    weight: 'hold',
    title: 'the clip does not say what its colours mean, and the profile stops such clips',
    remedy: 'Find out how the camera was set. If it is BT.709, use a profile with `untagged: bt709`.',
  },
  'colour-assumed': {
    weight: 'note',
    title: 'the clip does not say all of what its colours mean; something was assumed',
    remedy:
      'Compare with the camera report. Colours and levels of the deliverable are right only if the assumption is.',
  },
  'colour-not-converted': {
    weight: 'hold',
    title: 'the profile asks for colours that the clip does not have, and no such conversion is offered',
    remedy:
      'Use a profile with `source` in this field. A conversion of primaries or transfer is a look and is made in grading.',
  },
  'raw-not-developed': {
    weight: 'hold',
    title: 'the clip is raw sensor data and must be developed first',
    remedy:
      'Choose a master profile for this roll, as grading-master-exr; movies of raw frames are made from what is graded of its masters.',
  },
  'not-representable': {
    weight: 'hold',
    title: 'the clip has something that the form of the profile cannot keep as it is',
    remedy:
      'Nothing is converted in an archive file. Keep the clip itself, as it was shot, in the place of one; or deliver it in a profile that converts.',
  },
  'raster-unsupported': {
    weight: 'hold',
    title: 'the codec of the profile cannot hold a picture of this size at this rate',
    remedy: 'Use a profile with another raster or codec for this clip.',
  },
  'audio-length': {
    weight: 'hold',
    title: 'audio ends before or after the picture by more than the profile allows',
    remedy:
      'Play the end of the clip. If the audio is right as far as it goes, use a profile with a larger `audio: { tolerance_frames: … }`; otherwise look for another copy.',
  },
  'audio-fitted': {
    weight: 'note',
    title: 'audio was cut or filled with silence to start and end with the picture',
    remedy: 'Nothing: within what the profile allows.',
  },
  'audio-unsupported': {
    weight: 'hold',
    title: 'the audio format of the profile cannot hold this audio',
    remedy: 'Use a profile with `audio: { format: s24 }` or with `rate: 48000` for this clip.',
  },
  'name-collision': {
    weight: 'hold',
    title: 'two deliverables would get the same file name',
    remedy:
      'Give the clips different names in a roll of their own, or use a profile whose `file_name` tells them apart ({timecode}, {reel}). Names that differ only in case or accents count as the same.',
  },
} as const satisfies Record<string, CodeEntry>;
