/** Codes of the machine: tools, versions, space, cores. */
import type { CodeEntry } from '../entry.ts';

export const machineCodes = {
  'tool-missing': {
    weight: 'hold',
    title: 'a program that is needed is not on this machine',
    remedy:
      'Run `rushlight doctor`: it shows how to install what is missing. For a program in another place, use --ffmpeg and --ffprobe, or RUSHLIGHT_FFMPEG and RUSHLIGHT_FFPROBE.',
  },
  'tool-too-old': {
    weight: 'hold',
    title: 'a program is older than the oldest version known to work',
    remedy: 'Install ffmpeg 5.1 or newer (7.1 recommended), or name another one with --ffmpeg and --ffprobe.',
  },
  'tool-unusable': {
    weight: 'hold',
    title: 'a program starts and does not answer as expected',
    remedy:
      'Run it yourself with -version (ffmpeg, ffprobe) or --version (redis-server). Reinstall it, or name another one with RUSHLIGHT_FFMPEG, RUSHLIGHT_FFPROBE or RUSHLIGHT_REDIS_SERVER.',
  },
  'tool-not-recommended': {
    weight: 'note',
    title: 'a program is older than the recommended version',
    remedy: 'Install ffmpeg 7.1 or newer when you can. This one works: its known faults are worked around.',
  },
  'tool-passed-over': {
    weight: 'note',
    title: 'a program on PATH is not usable, and another one is used',
    remedy: 'Do nothing for Rushlight. Update the one on PATH if other work on this machine needs it.',
  },
  'decoder-missing': {
    weight: 'note',
    title: 'this ffmpeg cannot decode one kind of source',
    remedy:
      'Install an ffmpeg with that decoder if your cameras record it (the packages of Debian, Ubuntu and Homebrew have it). Without it, clips of that kind are held.',
  },
  'raw-reader-missing': {
    weight: 'note',
    title: 'LibRaw is not on this machine: some compressed raw frames cannot be decoded',
    remedy:
      'Install LibRaw if your cameras record compressed raw frames (Debian and Ubuntu: libraw-bin), or name its unprocessed_raw with RUSHLIGHT_UNPROCESSED_RAW. Other raw frames need nothing.',
  },
  'kernel-missing': {
    weight: 'hold',
    title: 'a part of Rushlight that makes masters cannot be loaded',
    remedy:
      'Run `npm start -- doctor` in a checkout: it compiles what is missing. Install an installed package again. To make proxies only, name their profiles with --profile: they do not need this part.',
  },
  'speeds-unreadable': {
    weight: 'note',
    title: 'what this machine has learned of its speed cannot be read',
    remedy:
      'Leave it as it is: only forecasts rest on it, and this run learns again. The file is kept beside the new one, as speeds.json.unreadable.',
  },
  'speeds-not-kept': {
    weight: 'note',
    title: 'what this run has learned of speeds could not be kept',
    remedy:
      'Make the state folder writable (XDG_STATE_HOME, by default ~/.local/state). Until then each run begins without knowing how long jobs take.',
  },
  'machine-unfit': {
    weight: 'note',
    title: 'a machine of the farm takes no jobs of this run: it is not fit for them',
    remedy:
      'Run `rushlight explain` with the first word of what was found: it shows how to correct it. The run goes on with the other machines meanwhile. This one proves itself again every minute, and takes part as soon as it can.',
  },
  'machine-set-aside': {
    weight: 'note',
    title: 'a machine of the farm gave a job back, and takes no more of its kind for a while',
    remedy:
      'Do nothing if it happens once: the job is made by another machine, and this one is asked again later. If it happens again, run `rushlight doctor` on it, and `rushlight explain` with the first word of what was found.',
  },
  'machine-not-proved': {
    weight: 'hold',
    title: 'whether a machine is fit for the jobs could not be found out',
    remedy: 'Run `rushlight doctor` on the machine. Report this with what was found, if that finds nothing.',
  },
  'no-machine-fits': {
    weight: 'hold',
    title: 'jobs are waiting, and no machine of the farm is fit for them',
    remedy:
      'Correct what was found on one of the machines named, or start `rushlight worker` on another one. Then run again: only what is missing is made.',
  },
  'volumes-wrong': {
    weight: 'hold',
    title: 'the list of volumes cannot be read',
    remedy:
      'Write `version: 1`, then `volumes:` with a line `name: /mount/point` for each; or `--volumes name=/mount/point,name=/mount/point`.',
  },
  'volume-marker-missing': {
    weight: 'hold',
    title: 'a volume has no marker: nothing says which volume is mounted there',
    remedy:
      'Mount the volume named at this place. For a volume that never had a marker, run `rushlight volume init` with its mount point, once, on one machine.',
  },
  'volume-differs': {
    weight: 'hold',
    title: 'another volume is mounted than the one of the run',
    remedy: 'Mount the volume of the run under that name, or correct the list of volumes of this machine.',
  },
  'volume-unknown': {
    weight: 'hold',
    title: 'a machine has no volume of that name',
    remedy:
      'Add the volume and its mount point to the list that --volumes names on that machine, and start its worker again.',
  },
  'volume-outside': {
    weight: 'hold',
    title: 'a folder of the run lies in none of the volumes',
    remedy:
      'Name the shoot day and the delivery by paths below the mount points of --volumes, or add the volume that they lie in to the list.',
  },
  'volume-path-leaves': {
    weight: 'hold',
    title: 'a path leads out of its volume',
    remedy:
      'Replace the symbolic link on the way with the folder itself: other machines do not have what it points to.',
  },
  'job-path-absolute': {
    weight: 'hold',
    title: 'a run names its files by absolute paths, and this machine knows volumes',
    remedy:
      'Start the run with --volumes too, or the worker without it, if all machines have the same paths.',
  },
  'scratch-full': {
    weight: 'hold',
    title: 'the folder for temporary files of a machine has no room',
    remedy:
      'Make room in the folder named, or start Rushlight with TMPDIR set to a folder on a larger drive. Then run again: only what is missing is made.',
  },
  'target-is-another': {
    weight: 'hold',
    title: 'the delivery folder of a machine is not the one that the run has',
    remedy:
      'Mount the drive of the delivery under the same path on every machine of the farm: another drive, or an empty folder, is there now.',
  },
  'code-unknown': {
    weight: 'hold',
    title: 'no finding has this code',
    remedy:
      'Write the code as it is printed in square brackets behind a finding. docs/findings.md lists all of them.',
  },
  'node-too-old': {
    weight: 'hold',
    title: 'this Node is older than the oldest version known to work',
    remedy: 'Install Node 20.19 or newer (22 is recommended), and run the command again.',
  },
  'font-missing': {
    weight: 'hold',
    title: 'the font for burnt-in text is missing',
    remedy: 'Run `npm ci` and `npm start` in a checkout. Install an installed package again.',
  },
  'folder-unusable': {
    weight: 'hold',
    title: 'a folder cannot be written',
    remedy: 'Check the path, its permissions, and that the drive is mounted and not read-only.',
  },
  'space-low': {
    weight: 'note',
    title: 'a drive has little free space',
    remedy:
      'Run `rushlight plan <day> --deliver <folder>`: it compares what a run will write with the free space.',
  },
  'machine-small': {
    weight: 'note',
    title: 'the machine is small for a run of transcodes',
    remedy: 'Close other programs, or use a larger machine. This one works, slowly and one clip at a time.',
  },
  'demo-folder-taken': {
    weight: 'hold',
    title: 'the folder for the demo has other files in it',
    remedy:
      'Name another folder with --folder, or move away what is there. The demo never touches files that it did not make.',
  },
  'demo-not-made': {
    weight: 'hold',
    title: 'a clip of the demo could not be made',
    remedy: 'Run `rushlight doctor`. Usually this ffmpeg lacks a filter or an encoder, or the disk is full.',
  },
} as const satisfies Record<string, CodeEntry>;
