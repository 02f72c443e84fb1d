/** Every check. A further one is a file in checks/, its name in profiles/schema.ts, and a line here. */
import type { CheckName } from '../profiles/schema.ts';
import type { Check } from './check.ts';
import { audio } from './checks/audio.ts';
import { cadence } from './checks/cadence.ts';
import { codec } from './checks/codec.ts';
import { colourTags } from './checks/colour-tags.ts';
import { decode } from './checks/decode.ts';
import { duration } from './checks/duration.ts';
import { frames } from './checks/frames.ts';
import { levels } from './checks/levels.ts';
import { lossless } from './checks/lossless.ts';
import { payload } from './checks/payload.ts';
import { picture } from './checks/picture.ts';
import { reel } from './checks/reel.ts';
import { soundTrail } from './checks/sound-trail.ts';
import { timecode } from './checks/timecode.ts';
import { trail } from './checks/trail.ts';

/** By name, so that the compiler refuses a name without a check. */
export const checks = {
  frames,
  duration,
  timecode,
  cadence,
  picture,
  'colour-tags': colourTags,
  codec,
  audio,
  decode,
  trail,
  levels,
  'sound-trail': soundTrail,
  payload,
  lossless,
  reel,
} as const satisfies Record<CheckName, Check>;
