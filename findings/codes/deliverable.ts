/** Codes of what was made: claim, make, check, publish, and a delivery that is measured again. */
import type { CodeEntry } from '../entry.ts';
import { inDelivery } from './remedy-parts.ts';

const NEWER = 'If it repeats, try a newer ffmpeg.';

export const deliverableCodes = {
  'record-damaged': {
    weight: 'hold',
    title: 'a record on disk cannot be read',
    remedy:
      'Restore the record named from another copy of the delivery. If there is none and the roll is still there, run again: the record is written again. If it repeats, check the delivery drive.',
  },

  // Claim: why a worker does not take a job.
  'job-damaged': {
    weight: 'hold',
    title: 'a job in the queue cannot be read',
    remedy:
      'Install the same version of Rushlight on every machine, and run again. If the versions are equal, look for another program that writes into the same Redis.',
  },
  'job-part-missing': {
    weight: 'hold',
    title: 'a worker does not find what its job is about beside the reports of the roll',
    remedy:
      'Run again: that writes the file named once more. If it is one machine of a farm that says so, see that it has the delivery drive of this run at the place named, and no older copy of it.',
  },
  'job-part-altered': {
    weight: 'hold',
    title: 'what a job is about has other bytes than the run wrote',
    remedy:
      'Run again: that writes the file named once more; nothing was made of the altered one. If it comes back, check the delivery drive and its connection, and see that no other program writes into that folder.',
  },
  'segment-differs': {
    weight: 'hold',
    title: 'segments of a long clip do not make the whole of it',
    remedy:
      'Run again: the segments of this clip are made again. If it comes back, run with `--segments never`, which makes the clip in one piece, and check the memory of the machines and the drives that the clip and the delivery are on.',
  },
  'job-part-mended': {
    weight: 'note',
    title: 'what a job is about was missing or altered beside the reports of the roll, and was written again',
    remedy:
      'Do nothing: nothing was made of what had been altered. If it comes back, check the delivery drive and its connection, and see that no other program writes into that folder.',
  },
  'toolchain-differs': {
    weight: 'hold',
    title: 'a worker has other programs than the run was planned with',
    remedy:
      'Install the same ffmpeg and ffprobe on every machine of the farm, or stop the worker named, and run again. `rushlight doctor` shows the version and the path of each program; builds of one version can still differ.',
  },
  'source-missing': {
    weight: 'hold',
    title: 'the worker cannot open the clip',
    remedy:
      'Mount the drive of the roll under the same path on every machine of the farm, readable by the worker, and run again.',
  },
  'source-changed': {
    weight: 'hold',
    title: 'the clip has changed since it was verified and probed',
    remedy:
      'Find out what wrote into the roll: nothing may. Compare the roll with its other copies, and run again: every byte is read again.',
  },

  // Make.
  'clip-decode-error': {
    weight: 'hold',
    title: 'the clip cannot be decoded from beginning to end',
    remedy:
      'Look at the clip at the frame named, and copy the file again from another copy or from the card. If every copy is the same, the camera recorded it so: report it to the production before the card is erased.',
  },
  'clip-raster-changes': {
    weight: 'hold',
    title: 'the picture changes size within the clip',
    remedy:
      'Look at the clip at the frame named, and compare it with another copy or with the card. If it was recorded so, split it at that frame outside Rushlight.',
  },
  'encoder-not-started': {
    weight: 'hold',
    title: 'the encoder could not be started',
    remedy:
      'Run `rushlight doctor` on the machine named. Install the program, or name it with --ffmpeg, and run again.',
  },
  'encoder-failed': {
    weight: 'hold',
    title: 'the encoder failed although the clip decodes',
    remedy:
      "Read the message, and run again. If it fails at the same place, run the report's command yourself, and try a newer ffmpeg.",
  },
  'encoder-killed': {
    weight: 'hold',
    title: 'the encoder was killed',
    remedy:
      'Run again with a smaller --slots or --workers. Usually the machine ran out of memory; its system log shows it.',
  },
  'encoder-stalled': {
    weight: 'hold',
    title: 'the encoder made no progress and was ended',
    remedy:
      'Check that the drives of the roll and of the delivery answer. If the machine is only slow, raise --stall-seconds and run again.',
  },
  'encoder-wrote-nothing': {
    weight: 'hold',
    title: 'the encoder reported success and wrote no file',
    remedy:
      'Run again. If it repeats, the program used as ffmpeg is not ffmpeg: `rushlight doctor` shows its path.',
  },
  'work-failed': {
    weight: 'hold',
    title: 'work on a deliverable ended with an unexpected error',
    remedy:
      "Read the message, and run again: only what is missing is made. If it repeats, report it with the worker's log.",
  },

  // Check.
  'deliverable-unreadable': {
    weight: 'hold',
    title: 'the deliverable cannot be read',
    remedy: inDelivery('If it repeats, check the delivery drive and try a newer ffmpeg.'),
  },
  'check-not-run': {
    weight: 'hold',
    title: 'a required check could not run',
    remedy: 'Read what could not be measured, and run again. A check that did not run counts as failed.',
  },
  'frame-count-differs': {
    weight: 'hold',
    title: "the number of frames is not the source's",
    remedy: inDelivery('If it repeats, compare the clip with its other copies.'),
  },
  'duration-differs': {
    weight: 'hold',
    title: 'duration or frame rate is wrong',
    remedy: inDelivery(NEWER),
  },
  'timecode-differs': {
    weight: 'hold',
    title: 'start timecode, drop-frame flag or timecode base is wrong',
    remedy: inDelivery(NEWER),
  },
  'frame-spacing-broken': {
    weight: 'hold',
    title: 'the frames are not evenly spaced from zero on',
    remedy: inDelivery('If it repeats, look for gaps in the recording of the clip.'),
  },
  'raster-differs': {
    weight: 'hold',
    title: 'raster, pixel format or orientation is not what the profile asks for',
    remedy: inDelivery(NEWER),
  },
  'colour-tags-differ': {
    weight: 'hold',
    title: 'colour tags are not what the profile asks for',
    remedy: inDelivery(NEWER),
  },
  'codec-differs': {
    weight: 'hold',
    title: 'container, codec, profile, level or frame size is not what the profile asks for',
    remedy: inDelivery(NEWER),
  },
  'audio-differs': {
    weight: 'hold',
    title: 'tracks, layout, rate or length of the audio are wrong',
    remedy: inDelivery("If it repeats, look at the clip's audio tracks."),
  },
  'does-not-decode': {
    weight: 'hold',
    title: 'the deliverable does not decode from beginning to end without an error',
    remedy: inDelivery('If it repeats, check the memory of the machine and the delivery drive.'),
  },
  'container-differs': {
    weight: 'hold',
    title: 'a field of the container is not what was decided',
    remedy: inDelivery(
      'The finding names the part, the field and the byte. If it repeats, try another version of ffmpeg, and compare what it writes there.',
    ),
  },
  'container-part-unknown': {
    weight: 'hold',
    title: 'the container has a part that nobody decided and players may obey',
    remedy: inDelivery(
      'The finding names the part and the byte. If it repeats, try another version of ffmpeg, and look for a program that edits files after they are made.',
    ),
  },
  'container-part-absent': {
    weight: 'hold',
    title: 'a part of the container is missing',
    remedy: inDelivery(NEWER),
  },
  'container-part-informative': {
    weight: 'note',
    title: 'the container has a part that players do not obey, and that is not usual',
    remedy:
      'Leave it. If you do not expect it, compare with a deliverable of another machine: another version of ffmpeg may have written it.',
  },
  'samples-not-in-place': {
    weight: 'hold',
    title: 'the index and the media data of a file do not agree to the byte',
    remedy: inDelivery('If it repeats, check the delivery drive and try a newer ffmpeg.'),
  },
  'key-frames-differ': {
    weight: 'hold',
    title: 'key frames are farther apart than the profile allows',
    remedy: inDelivery(NEWER),
  },
  'bit-rate-differs': {
    weight: 'hold',
    title: 'the bit rate of the audio is not the one that the profile asks for',
    remedy: inDelivery(NEWER),
  },
  'reel-differs': {
    weight: 'hold',
    title: 'the reel name is wrong',
    remedy: inDelivery(NEWER),
  },

  // Stills of a clip.
  'stills-left-out': {
    weight: 'note',
    title: 'no stills are made of the clip',
    remedy:
      'Leave it: what is delivered is complete without them. If the settings can say what lacks (an input, an output transform), state it there, and run again.',
  },
  'still-not-made': {
    weight: 'hold',
    title: 'a still of the clip could not be made',
    remedy:
      'Read the message, and run again: only what is missing is made. If it repeats, look at the clip at the frame named. With --stills 0 the clip is delivered without stills.',
  },
  'still-differs': {
    weight: 'hold',
    title: 'a still does not show its frame of the clip as it should be seen',
    remedy: inDelivery(
      'If it repeats, look at the still beside the clip at its timecode, and try a newer ffmpeg.',
    ),
  },
  'still-form-wrong': {
    weight: 'hold',
    title: 'the file of a still is damaged, or says something else than was decided',
    remedy: inDelivery('If it repeats, check the delivery drive.'),
  },
  'still-changed': {
    weight: 'hold',
    title: 'a still is not there, or has changed since it was checked',
    remedy:
      'Restore the file from another copy of the delivery, and do not use this one. If there is no other copy and the roll is still there, move the file away (do not delete it) and run again: it is made again.',
  },
  'stills-absent': {
    weight: 'hold',
    title: 'stills of the clip were asked for and are not there',
    remedy: 'Run again: only what is missing is made. With --stills 0 the clip is delivered without stills.',
  },
  'stills-outdated': {
    weight: 'hold',
    title:
      'the stills of the clip are of other content, of another look, or of other programs than is asked for now',
    remedy: 'Run again: they are made again.',
  },

  // Publish.
  'target-name-taken': {
    weight: 'hold',
    title: "another file has a deliverable's name",
    remedy:
      'Look at that file, and move it away or deliver to another folder with --deliver. Then run again. Nothing was overwritten.',
  },
  'staged-file-lost': {
    weight: 'hold',
    title: 'the checked file disappeared or was replaced before it was published',
    remedy:
      'Check that the delivery drive is still mounted and that no other program writes there, and run again.',
  },

  'ready-made-otherwise': {
    weight: 'hold',
    title: 'what is ready was made otherwise than this run asks, and was left as it is',
    remedy:
      'Run with the profiles, settings and ffmpeg that it was made with, and it stays. If it is to be made again, say so to whoever works with it, and run with --replace: each new file is proved before it takes the place of the old one.',
  },

  // A delivery measured again.
  'delivery-empty': {
    weight: 'hold',
    title: 'the delivery has no roll with a verdict',
    remedy:
      'Name the folder that was given to --deliver. If it is the right one, no roll was finished there: run again.',
  },
  'digest-differs': {
    weight: 'hold',
    title: 'a deliverable has changed since it was checked',
    remedy:
      'Restore the file from another copy of the delivery, and do not use this one. If there is no other copy and the roll is still there, move the file away (do not delete it) and run again: it is made again. Find out what wrote into the delivery, or whether the drive is failing.',
  },
  'file-not-listed': {
    weight: 'hold',
    title: "a file in a profile's folder belongs to no deliverable",
    remedy:
      'Look at the file and move it out of the delivery. Nobody has checked it, and an editor would take it for a finished one.',
  },
  'folder-file-absent': {
    weight: 'hold',
    title: 'a frame file is missing from a deliverable folder',
    remedy:
      'Restore the file from another copy of the delivery, under the same name. If there is no other copy and the roll is still there, move the deliverable folder away (do not delete it) and run again: it is made again.',
  },
  'folder-file-differs': {
    weight: 'hold',
    title: 'a frame file of a deliverable folder has changed since it was checked',
    remedy:
      'Restore the file from another copy of the delivery, compare it with the checksum list, and do not use this one. If there is no other copy and the roll is still there, move the deliverable folder away (do not delete it) and run again: it is made again. Find out what wrote into the delivery, or whether the drive is failing.',
  },
  'folder-file-unexpected': {
    weight: 'hold',
    title: 'a deliverable folder has a file that is not part of it',
    remedy:
      'Look at the file and move it out of the delivery. Nobody has checked it, and a grading program would take it for a frame. Then run or audit again.',
  },
  'checksum-list-absent': {
    weight: 'hold',
    title: 'the checksum list of a deliverable folder is missing',
    remedy:
      'Restore the reports folder from another copy of the delivery. If there is none and the roll is still there, run again: when the deliverable folder is unchanged, its checksum list is written again.',
  },
  'checksum-list-damaged': {
    weight: 'hold',
    title: 'the checksum list of a deliverable folder is not the one that its report names',
    remedy:
      'Restore the reports folder from another copy of the delivery. If there is none and the roll is still there, run again: when the deliverable folder is unchanged, its checksum list is written again. Check the delivery drive.',
  },
  'report-absent': {
    weight: 'hold',
    title: 'a deliverable that roll.json lists has no report',
    remedy:
      'Restore the reports folder from another copy of the delivery. If there is none and the roll is still there, move the deliverable away (do not delete it) and run again: it is made again.',
  },
  'record-mismatch': {
    weight: 'hold',
    title: 'the records of a delivery contradict each other',
    remedy:
      "Restore the roll's reports folder and roll.json from another copy of the delivery. If there is none and the roll is still there, run again: the records are written again. Usually somebody edited a record, or two runs wrote at once.",
  },
  'verdict-differs': {
    weight: 'hold',
    title: 'roll.json disagrees with what was measured now',
    remedy:
      'Clear the other findings of the roll first: what was measured now is right. If there are none, restore roll.json from another copy of the delivery, or run again while the roll is still there.',
  },
  'staging-left': {
    weight: 'note',
    title: 'an unfinished file of an interrupted run is in the delivery',
    remedy:
      'Run again on this delivery: a run clears what dead processes left, a minute after it began at the latest. What the report of a clip still waits for goes when that clip is published. Leave it while a run is at work (`rushlight status`).',
  },

  'link-in-delivery': {
    weight: 'hold',
    title: 'a symbolic link lies where a folder or file of the delivery should be',
    remedy:
      'Put the folder or file itself in place of the link: take the link away, and copy what it points at to that name. Then run again. Nothing was written through the link, and what it points at was not touched.',
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
    remedy:
      'Leave it there if you put it there: the verdict says nothing about it. Otherwise find out who did.',
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
      'Leave them there if they are still wanted. Name their profile with --profile to have them in the verdict again, or move them and their reports out of the delivery.',
  },
  'deliverable-earlier-differs': {
    weight: 'hold',
    title: 'a deliverable that an earlier run made is not what its report says',
    remedy:
      'Do not use the file. Move it out of the delivery and run again, or name its profile with --profile as well: it is made again where its name is free.',
  },
} as const satisfies Record<string, CodeEntry>;
