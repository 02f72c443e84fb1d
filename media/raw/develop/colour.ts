/**
 * From linear camera values to linear ACES2065-1 (AP0), as the DNG specification maps camera colours to CIE XYZ (chapter 6), then from
 * its D50 to the white of ACES by linear Bradford. Grey is neutral: what is neutral under the light has three equal values in AP0.
 */
import { boundedAdaptation, type Chromaticity, D50, d50ToAp0, xyzOf } from './chromaticity.ts';
import { apply, diagonal, inverse, type Matrix, multiply, scale, type Triple } from './matrix.ts';
import { temperatureOf } from './temperature.ts';
import { UndevelopableError } from './undevelopable.ts';
import { type ColourTags, matricesAt, neutralUnder, type WhiteChoice, whiteOf } from './white.ts';

/** Whether the camera's forward matrix served, or the inverse of its colour matrix. */
export const colourPaths = ['forward-matrix', 'colour-matrix'] as const;
export type ColourPath = (typeof colourPaths)[number];

export interface CameraColour {
  readonly path: ColourPath;
  /** The light that the frame is balanced for. */
  readonly white: Chromaticity;
  /** Its correlated colour temperature. */
  readonly kelvin: number;
  /** Its distance from the Planckian locus (temperature.ts). */
  readonly tint: number;
  /** Camera values of neutral, the largest 1. */
  readonly neutral: Triple;
  /** Linear camera values, not white-balanced, to AP0, before exposure: `neutral` becomes (1, 1, 1). */
  readonly cameraToAp0: Matrix;
  /** What AP0 is multiplied by: 2 to the power of BaselineExposure and the stops that were asked for. */
  readonly exposure: number;
}

function required(m: Matrix, what: string): Matrix {
  const found = inverse(m);
  if (found === null)
    throw new UndevelopableError('no-colour-matrix', `${what} without an inverse: ${m.flat().join(' ')}`);
  return found;
}

/** The forward matrix with each row scaled so that (1, 1, 1) becomes the white of D50, which makers' rounding misses. */
function normalised(forward: Matrix): Matrix {
  const [x, y, z] = apply(forward, [1, 1, 1]);
  if (!(x > 0 && y > 0 && z > 0))
    throw new UndevelopableError('no-colour-matrix', `a forward matrix whose white is ${x} ${y} ${z}`);
  const [wx, wy, wz] = xyzOf(D50);
  return multiply(diagonal([wx / x, wy / y, wz / z]), forward);
}

/** `stops` is added to BaselineExposure. Throws UndevelopableError. */
export function cameraColour(tags: ColourTags, choice: WhiteChoice = 'as-shot', stops = 0): CameraColour {
  const white = whiteOf(tags, choice);
  const temperature = temperatureOf(white);
  const { kelvin, tint } = temperature;
  const { xyzToCamera, individual, forward } = matricesAt(tags, temperature);
  const neutral = neutralUnder(xyzToCamera, white);
  const exposure = 2 ** (tags.baselineExposure + stops);
  if (!(exposure > 0 && Number.isFinite(exposure)))
    throw new UndevelopableError('levels', `an exposure of ${tags.baselineExposure} and ${stops} stops`);
  let toD50: Matrix;
  if (forward !== null) {
    const toReference = required(individual, 'a camera calibration');
    const [r, g, b] = apply(toReference, neutral);
    if (!(r > 0 && g > 0 && b > 0))
      throw new UndevelopableError('white-balance', `a reference neutral of ${r} ${g} ${b}`);
    toD50 = multiply(normalised(forward), diagonal([1 / r, 1 / g, 1 / b]), toReference);
  } else {
    const fromD50 = multiply(xyzToCamera, boundedAdaptation(D50, white));
    toD50 = required(scale(fromD50, 1 / Math.max(...apply(fromD50, xyzOf(D50)))), 'a colour matrix');
  }
  return {
    path: forward === null ? 'colour-matrix' : 'forward-matrix',
    white,
    kelvin,
    tint,
    neutral,
    cameraToAp0: multiply(d50ToAp0, toD50),
    exposure,
  };
}
