/**
 * Code values of more than 8 bits in full range, as libswscale takes them.
 *
 * Its full range of n bits ends at 255 * 2^(n-8): exact for 8 bits, 0.3 % too bright for more (white 943, half 504, grey 401 of 10 bits
 * instead of 940, 502, 400; measured on FFmpeg 5.1, RGB and Y'CbCr alike, whatever the flags). By H.273, clause 8.3, it ends at 2^n - 1.
 * So codes are turned into those that the scaler is right for, each by a table.
 */
import { isRgb } from '../media/pixel-format.ts';
import { bitDepthOf } from '../media/probe/picture.ts';

/** An expression of `lutyuv` and `lutrgb`: codes on a line, to the nearest whole one; from `zero` to `to`, and `steps` for every `of` of them. */
export const codeLine = (steps: number, of: number, zero: number, to: number): string =>
  `floor((val-${zero})*${steps}/${of}+${to}+0.5)`;

/** Filters in front of a scaler that is to make Y'CbCr of RGB; none for 8 bits, and for what is no RGB. */
export function rgbForScaler(pixelFormat: string): string[] {
  const bits = bitDepthOf(pixelFormat, undefined);
  if (!isRgb(pixelFormat) || bits <= 8 || /f(16|32)(le|be)?$/.test(pixelFormat)) return [];
  const code = codeLine(255 * 2 ** (bits - 8), 2 ** bits - 1, 0, 0);
  // The table takes no packed samples of 10 bits, and no words whose high byte comes first.
  const taken = /^x2/.test(pixelFormat) ? 'gbrp10le' : pixelFormat.replace(/be$/, 'le');
  const planes = taken === pixelFormat ? [] : ['scale=flags=accurate_rnd+bitexact', `format=${taken}`];
  return [...planes, `lutrgb=r=${code}:g=${code}:b=${code}`];
}
