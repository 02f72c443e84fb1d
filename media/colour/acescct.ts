/** From linear AP0 to ACEScct (AP1, Academy S-2016-001), for houses that grade from movies and DPX, in double precision. */
import { evaluate } from './evaluate.ts';
import { ap0ToAp1 } from './gamuts.ts';
import { type Triple, apply, invert } from './matrix.ts';
import { type ColourTransform, curveStep, matrixStep } from './steps.ts';
import { fromRgb, weightsOf } from './ycbcr.ts';

/** Linear AP0 to R'G'B' codes of full scale. */
export const acescctOfAp0: ColourTransform = {
  steps: [
    matrixStep(ap0ToAp1),
    curveStep({ form: 'published', curve: { name: 'acescct' }, direction: 'encode' }),
  ],
};
/** And back. */
export const ap0OfAcescct: ColourTransform = {
  steps: [
    curveStep({ form: 'published', curve: { name: 'acescct' }, direction: 'decode' }),
    matrixStep(invert(ap0ToAp1)),
  ],
};

const between = (value: number, least: number, most: number): number =>
  Math.min(Math.max(value, least), most);
/** Rounded half up, then brought between the two. */
const code = (value: number, least: number, most: number): number =>
  between(Math.floor(value + 0.5), least, most);

/** Bits of a code of DPX (SMPTE ST 268-1), and the least and the most one: every one is of the picture. */
export const codeBits = [10, 12, 16] as const;
/** And those of pictures on their way to a display, which a table takes (shown/table.ts). */
export const SHOWN_BITS = 14;
export type CodeBits = (typeof codeBits)[number];
type AnyBits = CodeBits | typeof SHOWN_BITS;
export const rgbCodes = (bits: AnyBits): readonly [number, number] => [0, 2 ** bits - 1];
/** Of 10-bit Y'CbCr: the codes beyond mark time on serial interfaces (Recommendation ITU-R BT.1120) and stay free. */
export const YCBCR10 = [4, 1019] as const;

/** The same before rounding, double precision: what a code may be half of one away from. */
export function exactCodesOf([r, g, b]: readonly [number, number, number], bits: AnyBits): Triple {
  const [x, y, z] = evaluate(acescctOfAp0, r, g, b);
  const [least, most] = rgbCodes(bits);
  return [between(most * x, least, most), between(most * y, least, most), between(most * z, least, most)];
}
export function exactYuv10Of([r, g, b]: readonly [number, number, number]): Triple {
  const [y, cb, cr] = apply(fromRgb(weightsOf('bt709')), evaluate(acescctOfAp0, r, g, b));
  return [
    between(64 + 876 * y, ...YCBCR10),
    between(512 + 896 * cb, ...YCBCR10),
    between(512 + 896 * cr, ...YCBCR10),
  ];
}

/** Codes R, G, B of full scale, the most one for ACEScct 1.0, of linear AP0. Rounded half up; beyond the scale they end there. */
export function codesOf([r, g, b]: readonly [number, number, number], bits: CodeBits): Triple {
  const [x, y, z] = evaluate(acescctOfAp0, r, g, b);
  const [least, most] = rgbCodes(bits);
  return [code(most * x, least, most), code(most * y, least, most), code(most * z, least, most)];
}

/** 10-bit codes Y', Cb, Cr in narrow range with the matrix of BT.709, of linear AP0. Rounded half up; beyond 4 to 1019 they end there. */
export function yuv10Of([r, g, b]: readonly [number, number, number]): Triple {
  const [y, cb, cr] = apply(fromRgb(weightsOf('bt709')), evaluate(acescctOfAp0, r, g, b));
  return [code(64 + 876 * y, ...YCBCR10), code(512 + 896 * cb, ...YCBCR10), code(512 + 896 * cr, ...YCBCR10)];
}
