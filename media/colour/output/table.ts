/**
 * A table of an output transform, with looks before it or without: what pictures are converted by where one evaluation a pixel costs too much.
 * It is built from the exact function in this process, and never shipped; what it differs by is measured in test/colour/output-table.test.ts.
 *
 * A pixel goes from linear AP0 to ACEScct, through a curve that spreads the places of the table, and into 3D between tetrahedra. Places at
 * equal distances of ACEScct alone are too few where codes change fast and too many in highlights that all come out nearly white: with 65 of
 * them, 0.3 to 0.6 % of picture-like colours differ by more than one ΔE_ITP (ITU-R BT.2124). So half of the distance is that of ACEScct and half that of
 * the neutrals' own code, and 0.1 % do.
 */
import { createHash } from 'node:crypto';
import { decode, encode } from '../curves.ts';
import { ap0ToAp1 } from '../gamuts.ts';
import { type Triple, apply, invert } from '../matrix.ts';
import { type ColourTransform, type Step, curveStep, matrixStep } from '../steps.ts';
import { toneScaleOf } from './aces2/tone-scale.ts';
import type { Rgb } from './displays.ts';
import type { Rendering } from './schema.ts';
import { MOST_SCENE } from './special-values.ts';

/** Of each axis. */
export const TABLE_SIZE = 65;
/** Of the curve; straight lines lie between them. */
const CURVE_PLACES = 4096;
const PART_OF_CODE = 0.5;

/** Linear AP1 that the table holds; outside, the value at the end. */
export interface Domain {
  readonly low: number;
  readonly high: number;
}

const ofCode = (code: number): number => decode({ name: 'acescct' }, code);
const toCode = (linear: number): number => encode({ name: 'acescct' }, linear);

/** Where ACES 2 cuts by its definition: there nothing is lost. ACES 1: from ACEScct 0, linear -0.007, to the end of its tone curve. */
export function domainOf({ version, peak }: Rendering): Domain {
  if (version === 'aces-2') return { low: 0, high: 8 * toneScaleOf(peak).hit };
  return { low: ofCode(0), high: 0.18 * 2 ** 18 };
}

export interface OutputTable {
  /** Linear AP0 to full-range display codes, for `evaluate` and for the kernels. */
  readonly transform: ColourTransform;
  readonly size: number;
  /** Of its domain, its curve and its values: what a report names it by. */
  readonly sha256: string;
}

type Convert = (rgb: Triple, into?: Rgb) => Rgb;

/** Places 0 to 1 over the codes of the domain, ascending, so that equal distances are worth about the same. */
function curveOf(convert: Convert, low: number, high: number): Float64Array {
  const codes = Float64Array.from({ length: CURVE_PLACES + 1 }, (_, index) => {
    const neutral = ofCode(low + ((high - low) * index) / CURVE_PLACES);
    const [r, g, b] = convert([neutral, neutral, neutral]);
    return (r + g + b) / 3;
  });
  // A look may turn a ramp back: places never do.
  for (let index = 1; index < codes.length; index += 1)
    codes[index] = Math.max(codes[index] as number, codes[index - 1] as number);
  const [first, last] = [codes[0] as number, codes[CURVE_PLACES] as number];
  const part = last > first ? PART_OF_CODE : 0;
  return codes.map((code, index) =>
    Math.fround(
      (1 - part) * (index / CURVE_PLACES) + (part === 0 ? 0 : (part * (code - first)) / (last - first)),
    ),
  );
}

/** The ACEScct code at a place of the curve. */
function codeAt(curve: Float64Array, place: number, low: number, high: number): number {
  let [below, above] = [0, CURVE_PLACES];
  while (above - below > 1) {
    const middle = (below + above) >> 1;
    if ((curve[middle] as number) <= place) below = middle;
    else above = middle;
  }
  const [from, to] = [curve[below] as number, curve[above] as number];
  return low + ((high - low) * (below + (to > from ? (place - from) / (to - from) : 0))) / CURVE_PLACES;
}

/**
 * `convert`: linear AP0 to codes; a look before an output transform may reach below 0, and then so must `domain`. Values are kept as 32-bit floats, as
 * the kernels keep them. Building it with 65 places costs about 275 000 evaluations.
 */
export function tableOf(convert: Convert, domain: Domain, size: number = TABLE_SIZE): OutputTable {
  const [low, high] = [toCode(domain.low), toCode(domain.high)];
  const curve = curveOf(convert, low, high);
  const axis = Array.from({ length: size }, (_, index) =>
    ofCode(codeAt(curve, index / (size - 1), low, high)),
  );
  const toAp0 = invert(ap0ToAp1);
  const values = new Float64Array(3 * size ** 3);
  const into: Rgb = [0, 0, 0];
  let place = 0;
  for (const blue of axis)
    for (const green of axis)
      for (const red of axis) {
        convert(apply(toAp0, [red, green, blue]), into);
        for (const value of into) {
          values[place] = Math.fround(value);
          place += 1;
        }
      }
  const three = (value: number): Triple => [value, value, value];
  const steps: readonly Step[] = [
    { kind: 'clamp', low: -MOST_SCENE, high: MOST_SCENE },
    matrixStep(ap0ToAp1),
    curveStep({ form: 'published', curve: { name: 'acescct' }, direction: 'encode' }),
    { kind: 'table1', tables: [curve, curve, curve], domain: { low: three(low), high: three(high) } },
    { kind: 'table3', size, values, low: three(0), high: three(1), interpolation: 'tetrahedral' },
  ];
  const sha256 = createHash('sha256')
    .update(JSON.stringify({ size, low, high }))
    .update(Float32Array.from(curve))
    .update(Float32Array.from(values))
    .digest('hex');
  return { transform: { steps }, size, sha256 };
}
