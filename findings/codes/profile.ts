/** Codes of profiles: what a file says, what it cannot ask, and what a profile refuses of a clip. */
import type { CodeEntry } from '../entry.ts';

const FIELDS = '`rushlight profiles show <name>` lists every field with its meaning';

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
      'Correct the line named. `rushlight profiles show editorial-vc3` prints a profile that can be read.',
  },
  'profile-field-unknown': {
    weight: 'hold',
    title: 'a profile has a field that does not exist',
    remedy: `Correct the spelling, or remove the field. ${FIELDS}.`,
  },
  'profile-field-missing': {
    weight: 'hold',
    title: 'a profile leaves a field out',
    remedy: 'State the field, or take it from another profile with `extends: <name>`.',
  },
  'profile-value-wrong': {
    weight: 'hold',
    title: 'a field of a profile has an impossible value',
    remedy: `Write one of the values named. ${FIELDS}.`,
  },
  'profile-combination': {
    weight: 'hold',
    title: 'two fields of a profile exclude each other',
    remedy: `Change one of the fields named. ${FIELDS}.`,
  },
  'profile-check-left-out': {
    weight: 'hold',
    title: 'a profile leaves out a mandatory check',
    remedy: 'Add the check to `checks`. No profile can do without it.',
  },
  'profile-extends-missing': {
    weight: 'hold',
    title: 'a profile extends a profile that does not exist',
    remedy:
      'Put the other profile beside this file as <name>.yaml, or extend a built-in one (`rushlight profiles list`).',
  },
  'profile-extends-circle': {
    weight: 'hold',
    title: 'profiles extend each other in a circle',
    remedy: 'Remove `extends` from one of them.',
  },
  'profile-name-taken': {
    weight: 'hold',
    title: 'two profiles have the same name',
    remedy:
      'Rename one of them, both the file and its field `name`: folders, reports and relinking use the name.',
  },
  'profile-tool-lacks': {
    weight: 'hold',
    title: 'this ffmpeg cannot do what a profile asks for',
    remedy:
      'Install a full build of ffmpeg, name another one with --ffmpeg, or name other profiles with --profile. `rushlight doctor` shows what this one can do.',
  },

  // What a profile refuses of a clip, and what it assumes.
  'timecode-missing': {
    weight: 'hold',
    title: 'the clip has no timecode, and none may be made up for it',
    remedy:
      'State its start in the settings: `rolls: { <roll>: { clips: { <clip>: { timecode: "10:00:00:00" } } } }`. Or state `time_zone` of the show and `timecode_missing: time-of-day`, where the clock of the camera can be trusted, or `timecode_missing: zero`: cuts made with that cannot be relinked by timecode.',
  },
  'timecode-assumed': {
    weight: 'note',
    title: 'the clip has no timecode; the deliverable starts at zero',
    remedy: 'Find out why the camera wrote none, if the clip must relink by timecode.',
  },
  'timecode-time-of-day': {
    weight: 'note',
    title: 'the clip has no timecode; the deliverable starts at the time of day by the clock of the camera',
    remedy:
      'Compare the clock of the camera with the others before clips are synchronised by it. To start it elsewhere, state `timecode` for the clip in the settings.',
  },
  'timecode-from-settings': {
    weight: 'note',
    title: 'the clip has no timecode; the deliverable starts where the settings say',
    remedy: 'Do nothing: the start is recorded in the outcome as the word of the settings.',
  },
  'timecode-setting-unused': {
    weight: 'note',
    title: 'the settings state a start for a clip that has a timecode of its own, which counts',
    remedy: 'Check that it is the right clip, and take `timecode` out of its settings if it is.',
  },
  'timecode-setting-wrong': {
    weight: 'hold',
    title: 'the start timecode in the settings does not exist at the rate of the deliverable',
    remedy:
      'Correct `timecode` in the settings: frames count from 0 to one below the rate, and drop-frame (`;`) exists at 29.97, 59.94 and 119.88 frames a second alone.',
  },
  'project-rate-missing': {
    weight: 'hold',
    title: 'clips are to be played at the rate of the project, and nobody states it',
    remedy: 'State `project_rate` in the settings, for example `show: { project_rate: 24000/1001 }`.',
  },
  'off-speed-played': {
    weight: 'note',
    title:
      'the clip was recorded at another rate than the project has; every frame is played at that of the project',
    remedy:
      'Do nothing if it is meant to be slow. To keep its own rate, state `off_speed: own-rate` for the clip, roll or camera in the settings. Frame n of the deliverable is frame n of the clip; their timecodes agree in the first frame alone.',
  },
  'off-speed-kept': {
    weight: 'note',
    title: 'the rate of the clip is not that of the project; the deliverable keeps it',
    remedy:
      'Do nothing if the editor wants it so. To play every frame of a faster clip at the rate of the project, state `off_speed: project-rate` for the clip, roll or camera in the settings.',
  },
  'off-speed-audio-left-out': {
    weight: 'note',
    title: 'audio of a clip that is played slower was left out',
    remedy:
      'State `off_speed_audio: real-time` in the settings to deliver it as it was heard, shorter than the picture.',
  },
  'off-speed-audio-real-time': {
    weight: 'note',
    title: 'audio of a clip that is played slower is as it was heard, and shorter than the picture',
    remedy: 'State `off_speed_audio: leave-out` in the settings to leave it out.',
  },
  'timecode-impossible': {
    weight: 'hold',
    title: 'the timecode of the clip does not fit its frame rate',
    remedy:
      'Check the project rate of the camera. Correct the timecode in a copy outside Rushlight, and deliver that copy.',
  },
  'timecode-in-pairs': {
    weight: 'note',
    title: 'the timecode of the source counts every second frame; the deliverable counts every frame',
    remedy:
      'Do nothing: both agree in hours, minutes and seconds, and every frame of the deliverable has its own number (SMPTE ST 12-1 counts pairs above 30 frames a second).',
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
      'Use a profile with `interlaced: deinterlace`, which makes one progressive frame of each frame, or with `interlaced: split`, which makes one of each field at twice the rate; or deliver this clip outside Rushlight.',
  },
  'fields-not-split': {
    weight: 'hold',
    title: 'the profile makes a frame of each field, and cannot do so with this clip',
    remedy:
      'Use a profile with `interlaced: deinterlace`, which makes one progressive frame of each frame; or state `output: as-recorded` for the clip in the settings, where its pictures can be looked at as they are.',
  },
  'fields-split': {
    weight: 'note',
    title: 'the clip is interlaced, and each of its fields is a frame of the deliverable',
    remedy:
      'Do nothing if the editor wants it so. Frame n of the deliverable is of frame n / 2 of the clip, rounded down; `cadence.split` in the report says which field is the earlier one. For one frame of each, use a profile with `interlaced: deinterlace`.',
  },
  'colour-untagged': {
    weight: 'hold',
    title: 'the clip has no colour tags, and the profile stops such clips',
    remedy: 'Find out how the camera was set. If it is BT.709, use a profile with `untagged: bt709`.',
  },
  'colour-assumed': {
    weight: 'note',
    title: 'the colour tags of the clip are incomplete; the rest is assumed',
    remedy:
      'Compare the assumption with the camera report. Colours and levels of the deliverable are right only if it is. Of a log recording, state `input` in the settings: its proxies stay flat and grey otherwise.',
  },
  'colour-not-converted': {
    weight: 'hold',
    title: 'the profile asks for colours that the clip does not have, and there is no such conversion',
    remedy:
      'Use a profile with `source` in this field. A conversion of primaries or transfer is a look, and is made in grading.',
  },
  'half-too-small': {
    weight: 'hold',
    title: 'the profile develops raw frames at half their size, and its picture is larger than that',
    remedy:
      'State `display.development.demosaic: fine` in the profile, or a raster of at most half the width and height of the frames (`raster.policy: fit` with a width). Then run again with that profile.',
  },
  'raw-not-developed': {
    weight: 'hold',
    title: 'the clip is raw sensor data, and the profile has no display to develop it for',
    remedy:
      'Add `display` to the profile (`profiles show editorial-vc3` has one), or deliver it by a profile that has it, and leave `output: as-recorded` out of the settings of raw clips. Or make masters of it (`--profile grading-master-exr`).',
  },
  'not-representable': {
    weight: 'hold',
    title: 'the clip has something that the format of the profile cannot keep as it is',
    remedy:
      'Keep the clip as it was shot instead of an archive file, or deliver it in a profile that converts. In an archive file nothing is converted.',
  },
  'raster-unsupported': {
    weight: 'hold',
    title: 'the codec of the profile does not allow this raster at this rate',
    remedy: 'Use a profile with another raster or codec for this clip.',
  },
  'burn-in-no-room': {
    weight: 'hold',
    title: 'burnt-in text has no room in the picture',
    remedy:
      'Change the profile: fewer texts in `burn_in`, a smaller `height_percent`, a shorter watermark or one that is centred, or a larger raster. Then run again.',
  },
  'burn-in-unwritable': {
    weight: 'note',
    title: 'burnt-in text has characters that its font cannot write',
    remedy:
      'Read them by their numbers (Unicode) in the picture: they are written there as \\u{…}. Nothing is held for it.',
  },
  'burn-in-words-unwritable': {
    weight: 'hold',
    title:
      'words that the profile or the settings state for the picture have characters that its font cannot write',
    remedy:
      'Write them in Latin, Greek or Cyrillic letters, with or without accents: `words` in the profile, `burn_in: { watermark: … }` in the settings. The font has no Hebrew, Thai, Indic or East Asian letters and no pictures of things, Arabic letters would not be joined, and of Vietnamese it lacks those with two marks or a hook above. Then run again.',
  },
  'burn-in-missing': {
    weight: 'note',
    title: 'burnt-in text says that the clip does not say something',
    remedy:
      'Read "no camera" or "no date" in the picture as that, or state it and run again: `burn_in: { camera: … }` in the settings says where the camera comes from, and `cameras` names it. A date is that of the clip alone. Nothing is held for it.',
  },
  'burn-in-shortened': {
    weight: 'note',
    title: 'burnt-in text is cut at its end, since there is no room for it',
    remedy:
      'Look at the end of the name in the file name or in the report, where it is whole. For all of it in the picture, give the text a place of its own row, or use a larger raster. Nothing is held for it.',
  },
  'watermark-missing': {
    weight: 'hold',
    title: 'the profile asks for a watermark, and nobody states its words',
    remedy:
      'State `burn_in: { watermark: … }` in the settings, for the show, the camera, the roll or the clip, or `watermark: { words: … }` in the profile. Then run again. Nothing is delivered without it.',
  },
  'audio-length': {
    weight: 'hold',
    title: 'audio ends before or after the picture by more than the profile allows',
    remedy:
      'Play the end of the clip, and compare it with another copy. If the audio is right as far as it goes, use a profile with a larger `audio: { tolerance_frames: … }`. A movie for grading has no such field: deliver frames, such as `grading-master-exr`, and the audio by another profile.',
  },
  'audio-fitted': {
    weight: 'note',
    title: 'audio was cut or filled with silence to start and end with the picture',
    remedy: 'Do nothing: the difference is within what the profile allows.',
  },
  'audio-unsupported': {
    weight: 'hold',
    title: 'the audio format of the profile does not allow this audio',
    remedy: 'Use a profile with `audio: { format: pcm-24 }` or with `rate: 48000` for this clip.',
  },
  'name-collision': {
    weight: 'hold',
    title: 'two deliverables would get the same file name',
    remedy:
      'Use a profile whose `file_name` has {timecode} or {reel}, or put the clips into rolls of their own. Names that differ only in case or accents count as the same.',
  },
} as const satisfies Record<string, CodeEntry>;
