/** Codes of production sound in proxies: which recording a clip carries, and what it does not cover. */
import type { CodeEntry } from '../entry.ts';

export const soundCodes = {
  'production-sound-unread': {
    weight: 'hold',
    title: 'a clip is to carry production sound, and a sound roll of the day is not verified',
    remedy:
      'Do what is said of the sound roll, and run again. With --roll, name the sound roll as well. If it cannot wait, run with a profile that carries no production sound, and make the others later.',
  },
  'production-sound-none': {
    weight: 'note',
    title: 'a clip carries no production sound: no recording ran with it',
    remedy:
      'Compare with the sound report. If there is a recording, check that recorder and camera had the same time, that the settings state the right rate, and that the sound roll lies in the shoot day. If it was shot without sound, do nothing.',
  },
  'production-sound-short': {
    weight: 'note',
    title: 'a recording does not cover its clip to both ends',
    remedy:
      'Compare with the sound report: the recorder was started later or stopped earlier than the camera, or the recording goes on in another file. What is missing is silence in the proxy.',
  },
  'production-sound-left': {
    weight: 'note',
    title: 'of several recordings that ran with a clip one is carried',
    remedy:
      'Let the editor know: the others are in the sound roll, and `recordings` in its roll.json has where each of them lies. Wild tracks are never carried.',
  },
  'production-mix-unnamed': {
    weight: 'note',
    title: 'the recorder names no track as its mix, and all of them are carried',
    remedy:
      'Do nothing, or ask the recordist to name the mix (`Mix`, `Mix L` and `Mix R`). A profile with `carry: tracks` asks for all tracks in any case.',
  },
} as const satisfies Record<string, CodeEntry>;
