/**
 * A table of an output transform, with looks before it or without: what pictures are converted by where one evaluation a pixel costs too much.
 * It is built from the exact function in this process, and never shipped; what it differs by is measured in test/colour/output-table.test.ts.
 *
 * A pixel goes from linear AP0 to ACEScct, through a curve that spreads the places of the table, and into 3D between tetrahedra. Places at
 * equal distances of ACEScct alone are too few where light changes fast and too many in highlights that all come out nearly white: with 65 of
 * them, 0.3 to 0.6 % of picture-like colours differ by more than one ΔE_ITP (ITU-R BT.2124). So half of the distance is that of ACEScct and half that of
 * the light that a neutral becomes, as PQ signal: 0.1 % do, none by more than 2.2, and greys by no more than 0.6 of a 10-bit code.
 */
import { createHash } from 'node:crypto';
import { decode, encode } from '../curves.ts';
import { ap0ToAp1 } from '../gamuts.ts';
import { type Triple, apply, invert } from '../matrix.ts';
import { type ColourTransform, type Step, curveStep, matrixStep } from '../steps.ts';
import { toneScaleOf } from './aces2/tone-scale.ts';
import { type Display, type Rgb, type Version, encodings } from './displays.ts';
import type { OutputTransform, Rendering } from './schema.ts';
import { MOST_SCENE } from './special-values.ts';

/** Places of each axis. The tone curve and the limits of ACES 1 have sharp corners: with 65 places 0.4 % of colours differ by more than one ΔE_ITP. */
const SIZES: Readonly<Record<Version, number>> = { 'aces-2': 65, 'aces-1': 97 };
/** Of the curve; straight lines lie between them. */
const CURVE_PLACES = 4096;
const PART_OF_LIGHT = 0.5;

/** Linear AP1 that the table holds; outside, the value at the end. */
interface Domain {
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
function curveOf(convert: Convert, display: Display, [low, high]: readonly [number, number]): Float64Array {
  const { luminance } = encodings[display];
  const signals = Float64Array.from({ length: CURVE_PLACES + 1 }, (_, index) => {
    const neutral = ofCode(low + ((high - low) * index) / CURVE_PLACES);
    const [r, g, b] = convert([neutral, neutral, neutral]);
    return encode({ name: 'pq', nits_of_one: 1 }, luminance((r + g + b) / 3));
  });
  // A look may turn a ramp back: places never do.
  for (let index = 1; index < signals.length; index += 1)
    signals[index] = Math.max(signals[index] as number, signals[index - 1] as number);
  const [first, last] = [signals[0] as number, signals[CURVE_PLACES] as number];
  return signals.map((signal, index) => {
    const place = index / CURVE_PLACES;
    // Where all is one colour there is no light to go by.
    const part = last > first ? (signal - first) / (last - first) : place;
    return Math.fround((1 - PART_OF_LIGHT) * place + PART_OF_LIGHT * part);
  });
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

interface TableOptions {
  /** Places of each axis. */
  readonly size?: number;
  /** Least linear AP1 that the table holds, in place of that of the transform: a look may lift what lies below. */
  readonly low?: number;
}

/**
 * `convert`: linear AP0 to the codes of that transform, with looks before it or without. Values are kept as 32-bit floats, as the kernels keep
 * them. Building it costs an evaluation a place: 275 000 of ACES 2, 910 000 of ACES 1.
 */
export function tableOf(
  convert: Convert,
  { rendering, display }: OutputTransform,
  { size = SIZES[rendering.version], low: least }: TableOptions = {},
): OutputTable {
  const domain = domainOf(rendering);
  const [low, high] = [toCode(least ?? domain.low), toCode(domain.high)];
  const curve = curveOf(convert, display, [low, high]);
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
