/** A frame of the demo's log roll: the scene as code values of a published log curve and gamut, full scale of 16 bits, for ffmpeg to encode. Pure. */
import { encode } from '../../media/colour/curves.ts';
import { between, gamuts } from '../../media/colour/gamuts.ts';
import { apply } from '../../media/colour/matrix.ts';

/** As settings name it (docs/settings.md). */
export const LOG_INPUT = 'slog3-sgamut3cine';
const { bt709, sgamut3cine } = gamuts;
const TO_CAMERA = between(bt709, sgamut3cine, sgamut3cine.adaptation);
/** ffmpeg's name of what `logFrame` gives: planes of green, blue and red. */
export const LOG_PIXELS = 'gbrp16le';

export function logFrame(scene: Float64Array): Buffer {
  const pixels = scene.length / 3;
  const out = Buffer.alloc(scene.length * 2);
  for (let at = 0; at < pixels; at += 1) {
    const light = [
      scene[3 * at] as number,
      scene[3 * at + 1] as number,
      scene[3 * at + 2] as number,
    ] as const;
    for (const [channel, value] of apply(TO_CAMERA, light).entries()) {
      const code = encode({ name: 'slog3' }, value);
      out.writeUInt16LE(
        Math.max(0, Math.min(65_535, Math.round(code * 65_535))),
        2 * (((channel + 2) % 3) * pixels + at),
      );
    }
  }
  return out;
}
