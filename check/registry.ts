/** Every check. A further one is a file in checks/, its name in profiles/schema.ts, and a line here. */
import type { CheckName } from '../profiles/schema.ts';
import type { Check } from './check.ts';
import { audio } from './checks/audio.ts';
import { frameSpacing } from './checks/frame-spacing.ts';
import { burnIn } from './checks/burn-in.ts';
import { codec } from './checks/codec.ts';
import { container } from './checks/container.ts';
import { colourTags } from './checks/colour-tags.ts';
import { decode } from './checks/decode.ts';
import { duration } from './checks/duration.ts';
import { frames } from './checks/frames.ts';
import { levels } from './checks/levels.ts';
import { lossless } from './checks/lossless.ts';
import { bitstream } from './checks/bitstream.ts';
import { pictureError } from './checks/picture-error.ts';
import { raster } from './checks/raster.ts';
import { reel } from './checks/reel.ts';
import { audioMatch } from './checks/audio-match.ts';
import { timecode } from './checks/timecode.ts';
import { frameMatch } from './checks/frame-match.ts';

/** By name, so that the compiler refuses a name without a check. */
export const checks = {
  frames,
  duration,
  timecode,
  'frame-spacing': frameSpacing,
  raster,
  'colour-tags': colourTags,
  codec,
  audio,
  decode,
  'frame-match': frameMatch,
  levels,
  'audio-match': audioMatch,
  bitstream,
  container,
  lossless,
  'picture-error': pictureError,
  'burn-in': burnIn,
  reel,
} as const satisfies Record<CheckName, Check>;
