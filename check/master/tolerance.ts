/** How far a value of a master may be from what double precision says: the rounding of its form, and the stated budget of 32-bit arithmetic before it. */
import { exactCodes10Of, exactYuv10Of } from '../../media/colour/acescct.ts';
import type { MasterFormat } from '../../profiles/master/schema.ts';

type Triple = readonly [number, number, number];

/** Of the largest of a pixel's three values: matrices subtract large numbers from each other. */
const RELATIVE = 2e-5;
const ABSOLUTE = 2e-7;
const HALF_MOST = 65_504;
/** Half of the last place of a half float of this size; never less than half of the smallest subnormal (IEEE 754 binary16). */
const halfRounding = (value: number): number =>
  2 ** (Math.max(-14, Math.floor(Math.log2(Math.max(Math.abs(value), 2 ** -14)))) - 11);

/** What must stand there, before it is rounded: AP0 as half floats hold it, or codes of 10 bits: R'G'B', or Y'CbCr as an encoder is fed with. */
export function wantedOf(format: MasterFormat, sceneLinear: Triple): Triple {
  const clamped = (value: number): number => Math.max(-HALF_MOST, Math.min(HALF_MOST, value));
  if (format === 'rdd36') return exactYuv10Of(sceneLinear);
  return format === 'dpx'
    ? exactCodes10Of(sceneLinear)
    : [clamped(sceneLinear[0]), clamped(sceneLinear[1]), clamped(sceneLinear[2])];
}

const inCodes = (format: MasterFormat): boolean => format === 'dpx' || format === 'rdd36';

/** By channel; found values differ from the wanted by no more. */
export function allowance(format: MasterFormat, sceneLinear: Triple, wanted: Triple): Triple {
  // A code is a whole number: half of one, and what arithmetic may move the value across the middle.
  if (inCodes(format)) return [0.52, 0.52, 0.52];
  const budget =
    RELATIVE * Math.max(Math.abs(sceneLinear[0]), Math.abs(sceneLinear[1]), Math.abs(sceneLinear[2])) +
    ABSOLUTE;
  return [
    halfRounding(wanted[0]) + budget,
    halfRounding(wanted[1]) + budget,
    halfRounding(wanted[2]) + budget,
  ];
}

export function inWords(format: MasterFormat): string {
  return inCodes(format)
    ? 'within 0.52 of a 10-bit code of double precision'
    : `within half of the last place of a half float and ${RELATIVE} of the pixel of double precision`;
}
