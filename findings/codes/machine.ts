/** Codes of the machine: tools, versions, space, cores. */
import type { CodeEntry } from '../registry.ts';

export const machineCodes = {
  'tool-missing': {
    weight: 'hold',
    title: 'a program that is needed is not on this machine',
    remedy: 'Run `npm start -- doctor`; it says how to install what is missing. RUSHLIGHT_FFMPEG and RUSHLIGHT_FFPROBE name programs in other places.',
  },
  'tool-too-old': {
    weight: 'hold',
    title: 'a program is older than the oldest that is known to work',
    remedy: 'Install ffmpeg 5.1 or newer (7.1 recommended), or name another one with RUSHLIGHT_FFMPEG and RUSHLIGHT_FFPROBE.',
  },
  'tool-unusable': {
    weight: 'hold',
    title: 'a program starts but does not answer as it should',
    remedy: 'Run it by hand with -version. Reinstall it, or name another one with RUSHLIGHT_FFMPEG and RUSHLIGHT_FFPROBE.',
  },
} as const satisfies Record<string, CodeEntry>;
