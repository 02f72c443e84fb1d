/** Under which light a frame was shot, and what matrices hold under it (DNG specification, chapter 6, "Translating camera neutral coordinates"). */
import type { Calibration, RawPicture } from '../../formats/dng/header.ts';
import { type Chromaticity, chromaticityOf, D50, xyzOf } from './chromaticity.ts';
import { illuminantKelvin } from './illuminants.ts';
import { apply, diagonal, inverse, type Matrix, matrixOf, mix, multiply, type Triple } from './matrix.ts';
import { chromaticityAt, temperatureOf } from './temperature.ts';
import { UndevelopableError } from './undevelopable.ts';

/** What the frame is balanced for: as the camera recorded it, camera values of a grey card, the light's CIE 1931 x and y, or its temperature and tint (temperature.ts). */
export type WhiteChoice =
  | 'as-shot'
  | { readonly neutral: Triple }
  | { readonly x: number; readonly y: number }
  | { readonly kelvin: number; readonly tint: number };

/** What a frame says of its colours. */
export type ColourTags = Pick<
  RawPicture,
  'calibrations' | 'analogBalance' | 'asShotNeutral' | 'asShotWhiteXy' | 'baselineExposure'
>;

/** Matrices under one light. */
export interface Interpolated {
  /** XYZ to camera: AnalogBalance · CameraCalibration · ColorMatrix. */
  readonly xyzToCamera: Matrix;
  /** AnalogBalance · CameraCalibration. */
  readonly individual: Matrix;
  readonly forward: Matrix | null;
}

/** How much of the cooler calibration counts at so many kelvin: linear in reciprocal temperature, held at the ends. */
function coolPart(kelvin: number, cool: number, warm: number): number {
  if (kelvin <= cool) return 1;
  if (kelvin >= warm) return 0;
  return (1 / kelvin - 1 / warm) / (1 / cool - 1 / warm);
}

/** The calibrations in the order of their temperatures; the first alone when the second says nothing of where it holds. */
function ordered(calibrations: readonly Calibration[]): {
  one: Calibration;
  other: { calibration: Calibration; cool: number; warm: number } | null;
} {
  const [first, second] = calibrations;
  if (first === undefined) throw new UndevelopableError('no-colour-matrix', 'no calibration');
  if (second === undefined) return { one: first, other: null };
  const [a, b] = [illuminantKelvin(first.illuminant), illuminantKelvin(second.illuminant)];
  if (a === null || b === null || a === b) return { one: first, other: null };
  return a < b
    ? { one: first, other: { calibration: second, cool: a, warm: b } }
    : { one: second, other: { calibration: first, cool: b, warm: a } };
}

/** The matrices for a light. A forward matrix that only one calibration has stands for both. */
export function matricesAt(tags: ColourTags, kelvin: number): Interpolated {
  const { one, other } = ordered(tags.calibrations);
  const part = other === null ? 1 : coolPart(kelvin, other.cool, other.warm);
  const between = (of: (calibration: Calibration) => readonly number[]): Matrix =>
    other === null ? matrixOf(of(one)) : mix(matrixOf(of(one)), matrixOf(of(other.calibration)), part);
  const individual = multiply(
    diagonal(tags.analogBalance),
    between(({ cameraCalibration }) => cameraCalibration),
  );
  const forwards = [one, ...(other === null ? [] : [other.calibration])].flatMap(({ forwardMatrix }) =>
    forwardMatrix === null ? [] : [matrixOf(forwardMatrix)],
  );
  const [first, second] = forwards;
  return {
    xyzToCamera: multiply(
      individual,
      between(({ colourMatrix }) => colourMatrix),
    ),
    individual,
    forward: first === undefined ? null : second === undefined ? first : mix(first, second, part),
  };
}

/** Passes of the reference code, and what it takes for settled. */
const PASSES = 30;
const NEAR = 1e-7;
/** Reciprocal megakelvin that every temperature lies between. */
const MIREDS: readonly [number, number] = [10, 600];

/** The light under which a grey card gives these camera values: its temperature decides the matrices, and they its chromaticity, until both agree. */
function sceneLinearOf(tags: ColourTags, neutral: Triple): Chromaticity {
  if (!neutral.every((value) => value > 0 && Number.isFinite(value)))
    throw new UndevelopableError('white-balance', `a neutral of ${neutral.join(' ')}`);
  const lightFrom = (kelvin: number): Chromaticity => {
    const back = inverse(matricesAt(tags, kelvin).xyzToCamera);
    const light = back === null ? null : chromaticityOf(apply(back, neutral));
    if (light === null)
      throw new UndevelopableError('white-balance', `no light gives the neutral ${neutral.join(' ')}`);
    return light;
  };
  let light = D50;
  for (let pass = 1; pass <= PASSES; pass += 1) {
    const next = lightFrom(temperatureOf(light).kelvin);
    const settled = Math.abs(next[0] - light[0]) + Math.abs(next[1] - light[1]) < NEAR;
    light = next;
    if (settled) return light;
  }
  // Two lights that lead to each other for ever (the reference code then takes a middle): the light between them that leads to itself.
  let [hot, cold] = MIREDS;
  for (let step = 0; step < 60; step += 1) {
    const mired = (hot + cold) / 2;
    light = lightFrom(1e6 / mired);
    if (1e6 / temperatureOf(light).kelvin > mired) hot = mired;
    else cold = mired;
  }
  return light;
}

function lightAt([x, y]: Chromaticity): Chromaticity {
  if (!(x > 0 && y > 0 && x + y < 1)) throw new UndevelopableError('white-balance', `a light at ${x} ${y}`);
  return [x, y];
}

/** The chromaticity of the light. Throws UndevelopableError where the frame says nothing and nobody chose, or nothing is such a light. */
export function whiteOf(tags: ColourTags, choice: WhiteChoice): Chromaticity {
  if (choice === 'as-shot') {
    if (tags.asShotNeutral !== null) return sceneLinearOf(tags, tags.asShotNeutral);
    if (tags.asShotWhiteXy !== null) return lightAt(tags.asShotWhiteXy);
    throw new UndevelopableError('white-balance', 'neither AsShotNeutral nor AsShotWhiteXY');
  }
  if ('neutral' in choice) return sceneLinearOf(tags, choice.neutral);
  if ('kelvin' in choice) return chromaticityAt(choice);
  return lightAt([choice.x, choice.y]);
}

/** Below this part of the brightest channel no neutral is believed: the reference code's bound. */
const DARKEST = 0.001;

/** Camera values of neutral under a light, the largest 1. */
export function neutralUnder(xyzToCamera: Matrix, light: Chromaticity): Triple {
  const values = apply(xyzToCamera, xyzOf(light));
  const most = Math.max(...values);
  if (!(most > 0))
    throw new UndevelopableError(
      'white-balance',
      `the camera sees nothing of the light at ${light.join(' ')}`,
    );
  return [
    Math.max(DARKEST, values[0] / most),
    Math.max(DARKEST, values[1] / most),
    Math.max(DARKEST, values[2] / most),
  ];
}
