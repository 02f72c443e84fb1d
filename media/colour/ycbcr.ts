/** Y'CbCr and R'G'B' (ITU-T H.273, 8.3), from the weights of red and blue alone. */
import { type Matrix, invert } from './matrix.ts';

export interface Weights {
  readonly red: number;
  readonly blue: number;
}

/** By the names of media/colour/h273.ts. Constant luminance (`bt2020-constant`) and other codings are no matrix of R'G'B' and are not here. */
export const ycbcrMatrices = ['bt709', 'bt2020', 'bt601', 'bt601-625', 'st240', 'fcc'] as const;
export type YcbcrMatrix = (typeof ycbcrMatrices)[number];

const WEIGHTS: Readonly<Record<YcbcrMatrix, Weights>> = {
  bt709: { red: 0.2126, blue: 0.0722 },
  bt2020: { red: 0.2627, blue: 0.0593 },
  // Two code points of the same numbers.
  bt601: { red: 0.299, blue: 0.114 },
  'bt601-625': { red: 0.299, blue: 0.114 },
  st240: { red: 0.212, blue: 0.087 },
  fcc: { red: 0.3, blue: 0.11 },
};

export const isYcbcrMatrix = (name: string): name is YcbcrMatrix =>
  (ycbcrMatrices as readonly string[]).includes(name);
export const weightsOf = (matrix: YcbcrMatrix): Weights => WEIGHTS[matrix];

/** R'G'B' to Y' (0 to 1), Cb and Cr (-0.5 to 0.5). */
export function fromRgb({ red, blue }: Weights): Matrix {
  const green = 1 - red - blue;
  const [cb, cr] = [2 * (1 - blue), 2 * (1 - red)];
  return [
    [red, green, blue],
    [-red / cb, -green / cb, (1 - blue) / cb],
    [(1 - red) / cr, -green / cr, -blue / cr],
  ];
}

/** And back. */
export const toRgb = (weights: Weights): Matrix => invert(fromRgb(weights));

export const ranges = ['limited', 'full'] as const;
export type Range = (typeof ranges)[number];

/** A code as a value: (code - zero) * scale. Of Y', R', G' and B' from 0 to 1, of Cb and Cr from -0.5 to 0.5; exact offsets of `bits` wide codes. */
export function lumaScale(range: Range, bits: number): { readonly zero: number; readonly scale: number } {
  return range === 'full'
    ? { zero: 0, scale: 1 / (2 ** bits - 1) }
    : { zero: 16 * 2 ** (bits - 8), scale: 1 / (219 * 2 ** (bits - 8)) };
}
export function chromaScale(range: Range, bits: number): { readonly zero: number; readonly scale: number } {
  return {
    zero: 2 ** (bits - 1),
    scale: range === 'full' ? 1 / (2 ** bits - 1) : 1 / (224 * 2 ** (bits - 8)),
  };
}
