/**
 * Lightness J, colourfulness M and hue h of the ACES 2 output transform: the model of Hellwig and Fairchild (2022) as the ACES
 * library simplifies it (aces-core `Lib.Academy.OutputTransform.ctl`, April 2025), fully adapted to the white of each set of primaries.
 */
import { type Gamut, toXyz } from '../../gamuts.ts';
import { type Matrix, type Triple, apply, diagonal, invert, multiply } from '../../matrix.ts';

type Primaries = Pick<Gamut, 'red' | 'green' | 'blue' | 'white'>;

/** Of the cone space, given by primaries of its own. */
const CONES: Primaries = {
  red: [0.8336, 0.1735],
  green: [2.3854, -1.4659],
  blue: [0.087, -0.125],
  white: [0.333, 0.333],
};
/** cd/m² of the adapting field, and of the reference white. */
const ADAPTING = 100;
export const REFERENCE = 100;
const BACKGROUND = 20;
/** Surround “dim”: c and N_c. */
const SURROUND = 0.59;
const INDUCTION = 0.9;

const k = 1 / (5 * ADAPTING + 1);
/** The level of adaptation, F_L. */
const ADAPTATION = 0.2 * k ** 4 * 5 * ADAPTING + 0.1 * (1 - k ** 4) ** 2 * Math.cbrt(5 * ADAPTING);
/** J is the achromatic response to this power. */
export const LIGHTNESS_POWER = SURROUND * (1.48 + Math.sqrt(BACKGROUND / REFERENCE));

const COMPRESSION = 0.42;
const HALF_RESPONSE = 27.13;

/** Response of a cone, odd about 0. */
export function respond(value: number): number {
  const power = Math.abs(value) ** COMPRESSION;
  const response = power / (HALF_RESPONSE + power);
  return value < 0 ? -response : response;
}
export function respondInverse(response: number): number {
  const size = Math.min(Math.abs(response), 0.99);
  const value = ((HALF_RESPONSE * size) / (1 - size)) ** (1 / COMPRESSION);
  return response < 0 ? -value : value;
}

const rows: Matrix = [
  [2, 1, 1 / 20],
  [1, -12 / 11, 1 / 11],
  [1 / 9, 1 / 9, -2 / 9],
];
const scaled = ([a, b, c]: Triple, by: number): Triple => [a * by, b * by, c * by];
/** Response of every cone to the reference white: the same whatever its primaries, which are adapted to. */
const whiteResponse = respond(ADAPTATION);
const base = scaled(rows[0], 400);
/** From the cones' responses to the achromatic response A (1 for the white) and the two opponent ones. */
const toOpponents: Matrix = [
  scaled(base, 1 / ((base[0] + base[1] + base[2]) * whiteResponse)),
  scaled(rows[1], 400 * 43 * INDUCTION),
  scaled(rows[2], 400 * 43 * INDUCTION),
];
const fromOpponents = invert(toOpponents);

/** Linear RGB of a set of primaries (1.0 = 100 cd/m²) to adapted cones, and back. */
export interface ConeSet {
  readonly toCones: Matrix;
  readonly fromCones: Matrix;
}

export function coneSet(primaries: Primaries): ConeSet {
  const cones = multiply(invert(toXyz(CONES)), toXyz(primaries));
  const white = apply(cones, [REFERENCE, REFERENCE, REFERENCE]);
  const adapt = scaled(
    [REFERENCE / white[0], REFERENCE / white[1], REFERENCE / white[2]],
    (ADAPTATION / 100) * REFERENCE,
  );
  const toCones = multiply(diagonal(adapt), cones);
  return { toCones, fromCones: invert(toCones) };
}

/** What stands for one colour, written in place. cos and sin are the hue's. */
export interface Appearance {
  lightness: number;
  colourfulness: number;
  cos: number;
  sin: number;
}
export const newAppearance = (): Appearance => ({ lightness: 0, colourfulness: 0, cos: 1, sin: 0 });

/** Hue in degrees, 0 to below 360. */
export function hueOf({ cos, sin }: Appearance): number {
  const degrees = (Math.atan2(sin, cos) * 180) / Math.PI;
  const hue = degrees < 0 ? degrees + 360 : degrees;
  return hue >= 360 ? 0 : hue;
}

/** The achromatic response of RGB, 1 for the reference white. */
export function achromatic({ toCones: [l, m, s] }: ConeSet, r: number, g: number, b: number): number {
  const row = toOpponents[0];
  return (
    row[0] * respond(l[0] * r + l[1] * g + l[2] * b) +
    row[1] * respond(m[0] * r + m[1] * g + m[2] * b) +
    row[2] * respond(s[0] * r + s[1] * g + s[2] * b)
  );
}

/** RGB to its appearance. Without a positive achromatic response everything is 0. */
export function appearanceOf(
  { toCones: [l, m, s] }: ConeSet,
  [r, g, b]: Triple,
  into: Appearance,
): Appearance {
  const x = respond(l[0] * r + l[1] * g + l[2] * b);
  const y = respond(m[0] * r + m[1] * g + m[2] * b);
  const z = respond(s[0] * r + s[1] * g + s[2] * b);
  const [ofA, ofa, ofb] = toOpponents;
  const response = ofA[0] * x + ofA[1] * y + ofA[2] * z;
  const opponentA = ofa[0] * x + ofa[1] * y + ofa[2] * z;
  const opponentB = ofb[0] * x + ofb[1] * y + ofb[2] * z;
  const colourfulness = response > 0 ? Math.sqrt(opponentA * opponentA + opponentB * opponentB) : 0;
  into.lightness = response > 0 ? 100 * response ** LIGHTNESS_POWER : 0;
  into.colourfulness = colourfulness;
  into.cos = colourfulness > 0 ? opponentA / colourfulness : 1;
  into.sin = colourfulness > 0 ? opponentB / colourfulness : 0;
  return into;
}

/** And back, in place. */
export function rgbOf(
  { fromCones: [r, g, b] }: ConeSet,
  { lightness, colourfulness, cos, sin }: Appearance,
  into: [number, number, number],
): void {
  const response = (lightness / 100) ** (1 / LIGHTNESS_POWER);
  const opponentA = colourfulness * cos;
  const opponentB = colourfulness * sin;
  const [l, m, s] = fromOpponents;
  const x = respondInverse(l[0] * response + l[1] * opponentA + l[2] * opponentB);
  const y = respondInverse(m[0] * response + m[1] * opponentA + m[2] * opponentB);
  const z = respondInverse(s[0] * response + s[1] * opponentA + s[2] * opponentB);
  into[0] = r[0] * x + r[1] * y + r[2] * z;
  into[1] = g[0] * x + g[1] * y + g[2] * z;
  into[2] = b[0] * x + b[1] * y + b[2] * z;
}

/** Lightness of a neutral of that luminance in cd/m², and back. */
export const lightnessOf = (luminance: number): number =>
  100 * (respond((luminance * ADAPTATION) / 100) / whiteResponse) ** LIGHTNESS_POWER;
export const luminanceOf = (lightness: number): number =>
  (respondInverse(whiteResponse * (lightness / 100) ** (1 / LIGHTNESS_POWER)) * 100) / ADAPTATION;
