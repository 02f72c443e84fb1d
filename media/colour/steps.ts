/**
 * A colour transform as data: steps, each applied to R, G, B of one pixel, one after the other. The same steps are evaluated
 * in double precision (evaluate.ts) and by the kernels (picture.ts).
 */
import type { PublishedCurve } from './curves.ts';
import type { Matrix, Triple } from './matrix.ts';

/** Parameters of the Common LUT Format's Log node (Academy S-2014-006), with every default written out. */
export interface LogParameters {
  readonly base: number;
  readonly logSideSlope: number;
  readonly logSideOffset: number;
  readonly linSideSlope: number;
  readonly linSideOffset: number;
  /** Linear value at which the straight part begins below; null: there is none. */
  readonly linSideBreak: number | null;
  /** Of the straight part; null: the slope of the logarithm where they meet. */
  readonly linearSlope: number | null;
}

/** Styles of the Common LUT Format's Exponent node. */
export const exponentStyles = [
  'basicFwd',
  'basicRev',
  'basicMirrorFwd',
  'basicMirrorRev',
  'basicPassThruFwd',
  'basicPassThruRev',
  'monCurveFwd',
  'monCurveRev',
  'monCurveMirrorFwd',
  'monCurveMirrorRev',
] as const;
export type ExponentStyle = (typeof exponentStyles)[number];

/** A function of one channel. */
export type Curve =
  | { readonly form: 'published'; readonly curve: PublishedCurve; readonly direction: 'decode' | 'encode' }
  | { readonly form: 'log'; readonly parameters: LogParameters; readonly direction: 'toLin' | 'toLog' }
  /** `offset` is null with the basic styles. */
  | {
      readonly form: 'exponent';
      readonly style: ExponentStyle;
      readonly exponent: number;
      readonly offset: number | null;
    };

/** Styles of ASC CDL version 1.2 as the Common LUT Format has them. */
export const cdlStyles = ['Fwd', 'Rev', 'FwdNoClamp', 'RevNoClamp'] as const;
export type CdlStyle = (typeof cdlStyles)[number];

/** Between the places of a 3D table. */
export const interpolations = ['tetrahedral', 'trilinear'] as const;
export type Interpolation = (typeof interpolations)[number];

export type Step =
  | { readonly kind: 'matrix'; readonly matrix: Matrix; readonly offset: Triple }
  | { readonly kind: 'curves'; readonly curves: readonly [Curve, Curve, Curve] }
  /** Every channel is brought between the two; null: no limit there. */
  | { readonly kind: 'clamp'; readonly low: number | null; readonly high: number | null }
  | {
      readonly kind: 'cdl';
      readonly style: CdlStyle;
      readonly slope: Triple;
      readonly offset: Triple;
      readonly power: Triple;
      readonly saturation: number;
    }
  /**
   * One table a channel, at equal distances from `low` to `high` of that channel, with straight lines between; outside, the
   * first and last value. `domain` `half`: 65536 entries, one for every 16-bit float by its bits.
   */
  | {
      readonly kind: 'table1';
      readonly tables: readonly [Float64Array, Float64Array, Float64Array];
      readonly domain: 'half' | { readonly low: Triple; readonly high: Triple };
    }
  /** R, G, B of size³ places, red fastest; outside of `low` to `high` the value of the nearest place on the hull. */
  | {
      readonly kind: 'table3';
      readonly size: number;
      readonly values: Float64Array;
      readonly low: Triple;
      readonly high: Triple;
      readonly interpolation: Interpolation;
    };

export interface ColourTransform {
  readonly steps: readonly Step[];
}

export const noOffset: Triple = [0, 0, 0];

export const matrixStep = (matrix: Matrix, offset: Triple = noOffset): Step => ({
  kind: 'matrix',
  matrix,
  offset,
});
/** The same curve for the three channels. */
export const curveStep = (curve: Curve): Step => ({ kind: 'curves', curves: [curve, curve, curve] });

/** True when values beyond some limit all come out the same: what lies above or below does not survive this transform. */
export const limits = ({ steps }: ColourTransform): boolean =>
  steps.some(
    (step) =>
      step.kind === 'clamp' ||
      step.kind === 'table1' ||
      step.kind === 'table3' ||
      (step.kind === 'cdl' && !step.style.endsWith('NoClamp')),
  );
