/** Codes of what was made: claim, make, check, publish, and a delivery that is measured again. */
import type { CodeEntry } from '../entry.ts';

export const deliverableCodes = {
  'record-damaged': {
    weight: 'hold',
    title: 'a record on disk cannot be read',
    remedy:
      'Delete that record; what it described is measured or made again on the next run. If records are damaged repeatedly, check the volume.',
  },

  // Claim: why a worker does not take a job.
  'job-damaged': {
    weight: 'hold',
    title: 'a job in the queue cannot be understood',
    remedy:
      'Let coordinator and workers run the same version, and run again. If they do, look for another program that writes into the same Redis.',
  },
  'toolchain-differs': {
    weight: 'hold',
    title: 'a worker has other programs than the run was planned with',
    remedy:
      'Install the same ffmpeg and ffprobe on every machine of the farm (`rushlight doctor` shows version and build), or take that machine out, and run again.',
  },
  'source-missing': {
    weight: 'hold',
    title: 'the clip cannot be opened by the worker',
    remedy:
      'Mount the volume of the roll under the same path on every machine of the farm, with the right to read, and run again.',
  },
  'source-changed': {
    weight: 'hold',
    title: 'the clip is not what verification and probe read',
    remedy:
      'Nothing may write into a roll. Find out what did, compare the roll with its other copies, and run again: verification reads everything again.',
  },

  // Make.
  'clip-decode-error': {
    weight: 'hold',
    title: 'the clip cannot be decoded from beginning to end',
    remedy:
      'Look at the clip at the frame named, and take the file from another copy or from the card. If every copy is the same, the camera recorded it so: the production must know before the card is erased.',
  },
  'clip-raster-changes': {
    weight: 'hold',
    title: 'the picture changes its size within the clip',
    remedy:
      'Look at the clip at the frame named; take it from another copy or from the card. If it was recorded so, it must be cut there by hand.',
  },
  'encoder-not-started': {
    weight: 'hold',
    title: 'the encoder could not be started',
    remedy: 'Run `rushlight doctor` on the machine named; install or name the program, and run again.',
  },
  'encoder-failed': {
    weight: 'hold',
    title: 'the encoder failed although the clip decodes',
    remedy:
      'Read the message. Run again; if it fails at the same place, run the command of the report by hand, and try a newer ffmpeg.',
  },
  'encoder-killed': {
    weight: 'hold',
    title: 'the encoder was killed',
    remedy:
      'Usually the system had no memory left (see the system log): give the machine fewer slots or threads, and run again.',
  },
  'encoder-stalled': {
    weight: 'hold',
    title: 'the encoder made no progress and was ended',
    remedy:
      'Check the volumes of roll and target for hangs. If the machine is only slow, allow a longer silence, and run again.',
  },
  'encoder-wrote-nothing': {
    weight: 'hold',
    title: 'the encoder ended well and left no file',
    remedy:
      'Run again. If it repeats, the program named as ffmpeg is not one: `rushlight doctor` shows where it was found.',
  },
  'work-failed': {
    weight: 'hold',
    title: 'the work on a deliverable ended with an error that has no name of its own',
    remedy:
      "Read the message, and run again: only what is not finished is made. If it repeats, report it with the worker's log.",
  },

  // Check.
  'deliverable-unreadable': {
    weight: 'hold',
    title: 'what was made cannot be read',
    remedy: "Run again. If it repeats, look at the volume and at the encoder's version.",
  },
  'check-not-run': {
    weight: 'hold',
    title: 'a check that is asked for could not run',
    remedy: 'Read what could not be measured, and run again; a check that did not run counts as failed.',
  },
  'frame-count-differs': {
    weight: 'hold',
    title: "the number of frames is not the source's",
    remedy:
      'Do not hand this file out: it relinks to the wrong frames. Run again; if it repeats, compare the clip with its other copies.',
  },
  'duration-differs': {
    weight: 'hold',
    title: 'duration or rate is not what it must be',
    remedy: 'Do not hand this file out. Run again; if it repeats, try another ffmpeg version.',
  },
  'timecode-differs': {
    weight: 'hold',
    title: 'start timecode, drop flag or label rate is not what it must be',
    remedy:
      'Do not hand this file out: it relinks to the wrong frames. Run again; if it repeats, try another ffmpeg version.',
  },
  'frame-spacing-broken': {
    weight: 'hold',
    title: 'frames do not follow each other at one step from zero on',
    remedy:
      'Do not hand this file out. Run again; if it repeats, look at the clip for gaps in its recording.',
  },
  'raster-differs': {
    weight: 'hold',
    title: 'raster, pixel format or orientation is not what the profile asks',
    remedy: 'Run again; if it repeats, try another ffmpeg version.',
  },
  'colour-tags-differ': {
    weight: 'hold',
    title: 'colour tags are not what the profile asks',
    remedy:
      'Do not hand this file out: it would be shown with wrong colours. Run again; if it repeats, try another ffmpeg version.',
  },
  'codec-differs': {
    weight: 'hold',
    title: 'wrapper, codec, profile, level or frame size is not what the profile asks',
    remedy: 'Run again; if it repeats, try another ffmpeg version.',
  },
  'audio-differs': {
    weight: 'hold',
    title: 'the audio is not what it must be',
    remedy: "Do not hand this file out. Run again; if it repeats, look at the clip's audio tracks.",
  },
  'does-not-decode': {
    weight: 'hold',
    title: 'what was made does not decode whole and without an error',
    remedy: 'Do not hand this file out. Run again; if it repeats, check memory and volume of the machine.',
  },
  'reel-differs': {
    weight: 'hold',
    title: 'the reel name is not what it must be',
    remedy:
      'Do not hand this file out: it relinks to another reel. Run again; if it repeats, try another ffmpeg version.',
  },

  // Publish.
  'target-name-taken': {
    weight: 'hold',
    title: "something that is not ours stands under a deliverable's name",
    remedy:
      'Look at what stands there and move it away, or deliver to another folder, and run again. Nothing was overwritten.',
  },
  'staged-file-lost': {
    weight: 'hold',
    title: 'the checked file was gone or replaced before it could be published',
    remedy: 'Nothing else may write into a delivery. Check that the target is still mounted, and run again.',
  },

  // A delivery measured again.
  'delivery-empty': {
    weight: 'hold',
    title: 'the delivery has no roll with a verdict',
    remedy:
      'Name the folder that was given to --deliver. A roll without roll.json was never finished: run again.',
  },
  'digest-differs': {
    weight: 'hold',
    title: 'a deliverable has other bytes than when it was checked',
    remedy:
      'Do not use this file. Run again: it is made again. Find out what wrote into the delivery, or whether the volume fails.',
  },
  'file-not-listed': {
    weight: 'hold',
    title: "a file in a profile's folder belongs to no deliverable",
    remedy:
      'Look at it and move it away: nobody has checked it, and an editor would take it for a finished one.',
  },
  'folder-file-absent': {
    weight: 'hold',
    title: 'a file of a deliverable that is a folder is not there',
    remedy:
      'Put the file back under its name, or delete the folder and run again: it is made again. Nothing else may write into or move things out of a delivery.',
  },
  'folder-file-differs': {
    weight: 'hold',
    title: 'a file of a deliverable that is a folder has other bytes than when it was checked',
    remedy:
      'Do not use this frame. Delete the folder and run again: it is made again. Find out what wrote into the delivery, or whether the volume fails.',
  },
  'folder-file-unexpected': {
    weight: 'hold',
    title: "something lies in a deliverable's folder that is no part of it",
    remedy:
      'Look at it and move it away: nobody has checked it, and a finishing program would take it for a frame. Then run again.',
  },
  'checksum-list-absent': {
    weight: 'hold',
    title: 'the checksum list of a deliverable that is a folder is not there',
    remedy:
      'Run again: where the folder is as it was published, its checksum list is written again. Or copy the reports folder back from another copy of the delivery.',
  },
  'checksum-list-damaged': {
    weight: 'hold',
    title: 'the checksum list of a deliverable that is a folder is another one than its report names',
    remedy:
      'Run again: where the folder is as it was published, its checksum list is written again. Check the volume.',
  },
  'report-absent': {
    weight: 'hold',
    title: 'a deliverable that roll.json lists has no report',
    remedy: 'Run again: what has no report is made again.',
  },
  'record-mismatch': {
    weight: 'hold',
    title: 'the records of a delivery do not agree with each other',
    remedy:
      'Somebody edited a record, or two runs wrote at once. Run again: the records are written again from what is measured.',
  },
  'verdict-differs': {
    weight: 'hold',
    title: 'roll.json says something else than what was measured now',
    remedy: 'Believe the measurement. Read the other findings of the roll, and run again.',
  },
  'staging-left': {
    weight: 'note',
    title: 'an unfinished file of an interrupted night lies in the delivery',
    remedy:
      'It can be deleted when no night is at work; the next run does so by itself once its owner is known to be dead.',
  },

  // What else lies in a roll's delivery folder.
  'delivery-file-unexplained': {
    weight: 'hold',
    title: 'a media file or a record lies in the delivery of a roll, and no report names it',
    remedy:
      'Look at it and move it out of the delivery: nobody has checked it, and an editor would take it for a deliverable. Then run again.',
  },
  'delivery-file-foreign': {
    weight: 'note',
    title: 'a file that is no deliverable and no record lies in the delivery of a roll',
    remedy: 'Nothing, if you put it there. The verdict says nothing of it.',
  },
  'clip-report-left': {
    weight: 'hold',
    title: 'a clip report lies in the delivery, and the roll has no such clip',
    remedy:
      'Compare the roll with the card: a clip may have vanished from it. If it was renamed or taken out on purpose, move the report and what was made of the clip out of the delivery, and run again.',
  },
  'deliverable-earlier': {
    weight: 'note',
    title: 'deliverables that an earlier run made lie in the delivery, and are not part of this verdict',
    remedy:
      'Nothing, if they are still wanted. Name their profile with --profile to have them in the verdict again, or move them and their reports out of the delivery.',
  },
  'deliverable-earlier-differs': {
    weight: 'hold',
    title: 'a deliverable that an earlier run made is not what its report says',
    remedy:
      'Do not use the file. Move it out of the delivery and run again, or name its profile with --profile as well: it is made again where its name is free.',
  },
} as const satisfies Record<string, CodeEntry>;
