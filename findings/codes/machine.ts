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
