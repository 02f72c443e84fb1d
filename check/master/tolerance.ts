/** How far a value of a master may be from what double precision says: the rounding of its form, and the stated budget of 32-bit arithmetic before it. */
import { exactCodesOf, exactYuv10Of, SHOWN_BITS } from '../../media/colour/acescct.ts';
import { ap0ToAp1 } from '../../media/colour/gamuts.ts';
import { apply } from '../../media/colour/matrix.ts';
import { curveOf } from '../../proof/curve-steps.ts';
import { bitsOf, dwaLevelOf, isLossy, type MasterForm } from '../../profiles/master/form.ts';
import { pixelLoss } from './loss.ts';

type Triple = readonly [number, number, number];

/** How values are coded that are compared: of a master, or of pictures on their way to a display. */
export type ComparedForm = MasterForm | { readonly format: 'shown' };

const codeBits = (form: ComparedForm): number => (form.format === 'shown' ? SHOWN_BITS : bitsOf(form));
const losesSomething = (form: ComparedForm): form is MasterForm => form.format !== 'shown' && isLossy(form);

/** Of the largest of a pixel's three values: matrices subtract large numbers from each other. */
const RELATIVE = 2e-5;
const ABSOLUTE = 2e-7;
const HALF_MOST = 65_504;
/** Half of the last place of a half float of this size; never less than half of the smallest subnormal (IEEE 754 binary16). */
export const halfRounding = (value: number): number =>
  2 ** (Math.max(-14, Math.floor(Math.log2(Math.max(Math.abs(value), 2 ** -14)))) - 11);

/** What must stand there, before it is rounded: AP0 as half floats hold it, or codes: R'G'B', or Y'CbCr of 10 bits as an encoder is fed with. */
export function wantedOf(form: ComparedForm, sceneLinear: Triple): Triple {
  const clamped = (value: number): number => Math.max(-HALF_MOST, Math.min(HALF_MOST, value));
  if (form.format === 'rdd36') return exactYuv10Of(sceneLinear);
  if (form.format === 'shown') return exactCodesOf(sceneLinear, SHOWN_BITS);
  return form.format === 'dpx'
    ? exactCodesOf(sceneLinear, bitsOf(form))
    : [clamped(sceneLinear[0]), clamped(sceneLinear[1]), clamped(sceneLinear[2])];
}

const inCodes = ({ format }: ComparedForm): boolean =>
  format === 'dpx' || format === 'rdd36' || format === 'shown';
/** Half of a code, and what arithmetic may move the value across the middle of two. */
const CODE = 0.52;

/** Slope of ACEScct (Academy S-2016-001): its straight part below 0.0078125, the logarithm above. */
const slope = (linear: number): number =>
  linear <= 0.0078125 ? 10.5402377416545 : 1 / (linear * Math.LN2 * 17.52);

/** What the rounding to 32 bits may do to a pixel before it is written. */
export const budgetOf = (sceneLinear: Triple): number =>
  RELATIVE * Math.max(Math.abs(sceneLinear[0]), Math.abs(sceneLinear[1]), Math.abs(sceneLinear[2])) +
  ABSOLUTE;

/** Where values are compared: what loses something is, on the curve that its loss is even on. */
export const scaleOf = (form: ComparedForm): ((value: number) => number) =>
  losesSomething(form) ? curveOf : (value) => value;

/** By channel; found values differ from the wanted by no more, on the scale of `scaleOf`. */
export function allowance(form: ComparedForm, sceneLinear: Triple, wanted: Triple): Triple {
  const budget = budgetOf(sceneLinear);
  if (losesSomething(form)) return pixelLoss(form, wanted, budget);
  if (inCodes(form)) {
    const bits = codeBits(form);
    if (bits === 10) return [CODE, CODE, CODE];
    // Codes this fine show the budget of the arithmetic before them, most of all where the curve is steep.
    const most = 2 ** bits - 1;
    const [r, g, b] = apply(ap0ToAp1, sceneLinear);
    const allowed = (linear: number): number => CODE + most * slope(Math.max(linear - budget, 0)) * budget;
    return [allowed(r), allowed(g), allowed(b)];
  }
  return [
    halfRounding(wanted[0]) + budget,
    halfRounding(wanted[1]) + budget,
    halfRounding(wanted[2]) + budget,
  ];
}

export function inWords(form: ComparedForm): string {
  if (losesSomething(form))
    return `within what level ${dwaLevelOf(form)} of DWA may lose of double precision, at a pixel, of a frame, and in the mean of all`;
  if (!inCodes(form))
    return `within half of the last place of a half float and ${RELATIVE} of the pixel of double precision`;
  const bits = codeBits(form);
  return bits === 10
    ? `within ${CODE} of a 10-bit code of double precision`
    : `within ${CODE} of a ${bits}-bit code and what ${RELATIVE} of the pixel are in codes of double precision`;
}
