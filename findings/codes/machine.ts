/** Codes of the machine: tools, versions, space, cores. */
import type { CodeEntry } from '../entry.ts';

export const machineCodes = {
  'tool-missing': {
    weight: 'hold',
    title: 'a program that is needed is not on this machine',
    remedy:
      'Run `rushlight doctor`; it says how to install what is missing. RUSHLIGHT_FFMPEG and RUSHLIGHT_FFPROBE name programs in other places.',
  },
  'tool-too-old': {
    weight: 'hold',
    title: 'a program is older than the oldest that is known to work',
    remedy:
      'Install ffmpeg 5.1 or newer (7.1 recommended), or name another one with RUSHLIGHT_FFMPEG and RUSHLIGHT_FFPROBE.',
  },
  'tool-unusable': {
    weight: 'hold',
    title: 'a program starts but does not answer as it should',
    remedy:
      'Run it by hand with -version (ffmpeg, ffprobe) or --version (redis-server). Reinstall it, or name another one with RUSHLIGHT_FFMPEG, RUSHLIGHT_FFPROBE or RUSHLIGHT_REDIS_SERVER.',
  },
  'tool-not-recommended': {
    weight: 'note',
    title: 'a program is older than the version that is recommended',
    remedy: 'It works, with guards around its known faults. ffmpeg 7.1 or newer needs fewer of them.',
  },
  'tool-passed-over': {
    weight: 'note',
    title: 'a program on PATH will not do, and another one is used',
    remedy: 'Nothing must be done. Bring the one on PATH up to date if other work on this machine needs it.',
  },
  'decoder-missing': {
    weight: 'note',
    title: 'this ffmpeg cannot read a kind of source',
    remedy:
      'Clips of that kind are held. Install an ffmpeg that has it (the packages of Debian, Ubuntu and Homebrew do) if your cameras record it.',
  },
  'raw-reader-missing': {
    weight: 'note',
    title: 'LibRaw, which reads raw frames that our own decoder does not, is not on this machine',
    remedy:
      'Install it if your cameras record compressed raw frames (Debian and Ubuntu: libraw-bin), or name its unprocessed_raw with RUSHLIGHT_UNPROCESSED_RAW. Other raw frames need nothing.',
  },
  'kernel-missing': {
    weight: 'hold',
    title: 'a part of this program that makes masters cannot be loaded',
    remedy:
      'In a checkout, run `npm start -- doctor`: it compiles what is missing. An installed package: install it again. Proxies need no kernels: `--profile` names what to make.',
  },
  'code-unknown': {
    weight: 'hold',
    title: 'no finding has this code',
    remedy:
      'Write the code as it stands in square brackets behind a finding; docs/findings.md lists all of them.',
  },
  'node-too-old': {
    weight: 'hold',
    title: 'this Node is older than the oldest that is known to work',
    remedy: 'Install Node 20.19 or newer (22 is recommended), then run the command again.',
  },
  'font-missing': {
    weight: 'hold',
    title: 'the font of burnt-in text is not there',
    remedy: 'In a checkout, run `npm ci`, then `npm start`. An installed package: install it again.',
  },
  'folder-unusable': {
    weight: 'hold',
    title: 'a folder cannot be written',
    remedy: 'Check the path, its rights, and that the volume is mounted and not read-only.',
  },
  'space-low': {
    weight: 'note',
    title: 'a volume has little room',
    remedy:
      'Run `rushlight plan` on the shoot day: it says how much the run will write against what is free.',
  },
  'machine-small': {
    weight: 'note',
    title: 'the machine is small for a run of transcodes',
    remedy: 'It works, one clip at a time and slowly. Close other programs, or use a larger machine.',
  },
  'demo-folder-taken': {
    weight: 'hold',
    title: "the folder for the demo is not a demo's",
    remedy:
      'Give another one with --folder, or take away what is there. The demo never touches files that it did not make.',
  },
  'demo-not-made': {
    weight: 'hold',
    title: 'a clip of the demo could not be made',
    remedy:
      'Run `rushlight doctor`; a build of ffmpeg that lacks something the demo draws with is the usual reason, a full disk the other.',
  },
} as const satisfies Record<string, CodeEntry>;
