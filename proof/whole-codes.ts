/**
 * A whole picture for an encoder against the scene-linear values that it was made of, every sample: ACEScct (Academy S-2016-001) and narrow
 * range of BT.709 (ITU-T H.273, clause 8.3) in double precision, by other code than the kernel's, as quick as every pixel of a picture needs.
 */
import { ap0ToAp1 } from '../media/colour/gamuts.ts';

/** What does not fit, of one frame. */
export interface WholeCodes {
  readonly samples: number;
  /** Codes that the farthest sample is off. */
  readonly worst: number;
  /** Samples that are off by more than is allowed, and the farthest. */
  readonly count: number;
  readonly farthest: {
    readonly plane: 0 | 1 | 2;
    readonly x: number;
    readonly y: number;
    readonly found: number;
    readonly expected: number;
  } | null;
  /** Samples that had to be limited to 4 or 1019. */
  readonly limited: number;
}

const KR = 0.2126;
const KB = 0.0722;
const [LEAST, MOST] = [4, 1019];

const acescct = (linear: number): number =>
  linear <= 0.0078125 ? 10.5402377416545 * linear + 0.0729055341958355 : (Math.log2(linear) + 9.72) / 17.52;

type ThreePlanes = readonly [ArrayLike<number>, ArrayLike<number>, ArrayLike<number>];
type Exact = readonly [Float64Array, Float64Array, Float64Array];

/** R'G'B' of 14 bits of each pixel of linear AP0, before rounding: pictures on their way to a display. Gives how many samples had to be limited. */
export function exactRgb14(planes: ThreePlanes, count: number, into: Exact): number {
  const most = 2 ** 14 - 1;
  let limited = 0;
  for (let at = 0; at < count; at += 1) {
    const x = planes[0][at] as number;
    const y = planes[1][at] as number;
    const z = planes[2][at] as number;
    for (const [channel, [a, b, c]] of ap0ToAp1.entries()) {
      const code = most * acescct(a * x + b * y + c * z);
      if (code < 0 || code > most) limited += 1;
      (into[channel as 0 | 1 | 2] as Float64Array)[at] = Math.min(Math.max(code, 0), most);
    }
  }
  return limited;
}

/** Y', Cb, Cr of each pixel of linear AP0, before rounding. Gives how many samples had to be limited. */
export function exactCodes(planes: ThreePlanes, count: number, into: Exact): number {
  const [[a, b, c], [d, e, f], [g, h, i]] = ap0ToAp1 as readonly (readonly [number, number, number])[] as [
    readonly [number, number, number],
    readonly [number, number, number],
    readonly [number, number, number],
  ];
  const [ys, cbs, crs] = into;
  let limited = 0;
  const held = (code: number): number => {
    if (code >= LEAST && code <= MOST) return code;
    limited += 1;
    return code < LEAST ? LEAST : MOST;
  };
  for (let at = 0; at < count; at += 1) {
    const x = planes[0][at] as number;
    const y = planes[1][at] as number;
    const z = planes[2][at] as number;
    const red = acescct(a * x + b * y + c * z);
    const green = acescct(d * x + e * y + f * z);
    const blue = acescct(g * x + h * y + i * z);
    const luma = KR * red + (1 - KR - KB) * green + KB * blue;
    ys[at] = held(64 + 876 * luma);
    cbs[at] = held(512 + (448 * (blue - luma)) / (1 - KB));
    crs[at] = held(512 + (448 * (red - luma)) / (1 - KR));
  }
  return limited;
}

/** `allowed`: codes. */
export function compareCodes(
  found: readonly [Uint16Array, Uint16Array, Uint16Array],
  wanted: readonly [Float64Array, Float64Array, Float64Array],
  { width, allowed, limited }: { readonly width: number; readonly allowed: number; readonly limited: number },
): WholeCodes {
  const count = wanted[0].length;
  let worst = 0;
  let off = 0;
  let farthest: WholeCodes['farthest'] = null;
  for (const [plane, values] of wanted.entries())
    for (let at = 0; at < count; at += 1) {
      const code = (found[plane as 0 | 1 | 2] as Uint16Array)[at] as number;
      const expected = values[at] as number;
      const away = Math.abs(code - expected);
      if (away > allowed) off += 1;
      if (away <= worst) continue;
      worst = away;
      farthest = {
        plane: plane as 0 | 1 | 2,
        x: at % width,
        y: Math.floor(at / width),
        found: code,
        expected,
      };
    }
  return { samples: 3 * count, worst, count: off, farthest, limited };
}
