/**
 * The yard of the foundry at dusk, scene-linear: what the raw roll and the log roll of the demo both recorded, so that one can be held beside the other.
 * A bell swings before the sky; a grey card and three painted boards stand to its left, the mouth of the furnace glows on its right. Pure.
 */
import type { Triple } from '../../media/colour/matrix.ts';

export const SCENE = { width: 480, height: 270 } as const;

/** Scene-linear values, with the primaries of ITU-R BT.709; the grey card is 0.18, and nothing is brighter than a sensor takes that is exposed for it. */
const GREY_CARD: Triple = [0.18, 0.18, 0.18];
const BOARDS: readonly Triple[] = [
  [0.32, 0.05, 0.04],
  [0.05, 0.2, 0.06],
  [0.04, 0.09, 0.34],
];
const BRONZE: Triple = [0.34, 0.19, 0.075];

const mix = (one: Triple, other: Triple, part: number): Triple => [
  one[0] + (other[0] - one[0]) * part,
  one[1] + (other[1] - one[1]) * part,
  one[2] + (other[2] - one[2]) * part,
];
const scaled = ([red, green, blue]: Triple, by: number): Triple => [red * by, green * by, blue * by];

/** Half the width of the bell so far down it, 0 at the crown and 1 at the lip, in heights of the picture. */
const halfWidth = (down: number): number =>
  0.19 * Math.sqrt(Math.min(1, down * 6)) + 0.04 * down + 0.17 * down ** 4;

/** `x`, `y`: 0 to 1 across and down. `seconds`: since the first frame. */
function lightAt(x: number, y: number, seconds: number): Triple {
  const wide = SCENE.width / SCENE.height;
  // Sky above, yard below.
  let light = mix([0.05, 0.075, 0.16], [0.42, 0.2, 0.09], Math.min(1, y / 0.8) ** 2);
  if (y > 0.8) light = mix([0.07, 0.06, 0.05], [0.035, 0.03, 0.026], (y - 0.8) / 0.2);
  const glow = Math.hypot((x - 0.88) * wide, y - 0.72) / (0.1 + 0.006 * Math.sin(19 * seconds));
  light = mix(light, [0.9, 0.34, 0.06], Math.exp(-(glow ** 2)));
  // The bell hangs above the picture and swings.
  const angle = 0.16 * Math.sin((2 * Math.PI * seconds) / 1.6);
  const [fromX, fromY] = [(x - 0.5) * wide, y + 0.1];
  const across = fromX * Math.cos(angle) + fromY * Math.sin(angle);
  const down = (fromY * Math.cos(angle) - fromX * Math.sin(angle) - 0.22) / 0.56;
  if (down > 0 && down < 1 && Math.abs(across) < halfWidth(down)) {
    const side = across / halfWidth(down);
    light = scaled(
      BRONZE,
      0.3 + 1.3 * Math.exp(-(((side + 0.35) * 2.6) ** 2)) + 0.5 * Math.exp(-(((side - 0.8) * 5) ** 2)),
    );
  }
  for (const [index, board] of [GREY_CARD, ...BOARDS].entries()) {
    const left = 0.04 + 0.065 * index;
    if (x > left && x < left + 0.055 && y > 0.66 && y < 0.8) light = board;
  }
  return light;
}

/** Red, green, blue of every pixel, row by row, with the grain of a sensor: no two frames are the same. */
export function sceneAt(frame: number, seconds: number): Float64Array {
  const { width, height } = SCENE;
  const out = new Float64Array(width * height * 3);
  let state = (0x9e3779b9 * (frame + 1)) >>> 0;
  for (let at = 0; at < width * height; at += 1) {
    const light = lightAt(((at % width) + 0.5) / width, (Math.floor(at / width) + 0.5) / height, seconds);
    // xorshift32
    state ^= state << 13;
    state >>>= 0;
    state ^= state >>> 17;
    state ^= state << 5;
    state >>>= 0;
    const grain = 1 + 0.03 * (state / 2 ** 32 - 0.5);
    out.set(scaled(light, grain), at * 3);
  }
  return out;
}
