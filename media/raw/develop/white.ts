/** Under which light a frame was shot, and what matrices hold under it (DNG specification, chapter 6, "Translating camera neutral coordinates"). */
import type { Calibration, RawPicture } from '../../formats/dng/header.ts';
import { type Chromaticity, chromaticityOf, D50, xyzOf } from './chromaticity.ts';
import { illuminantChromaticity, illuminantKelvin } from './illuminants.ts';
import { apply, diagonal, inverse, type Matrix, matrixOf, multiply, type Triple } from './matrix.ts';
import { chromaticityAt, type Temperature, temperatureOf } from './temperature.ts';
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

/** Where the light of a calibration lies; null: nobody says. */
function placeOf({ illuminant, illuminantXy }: Calibration): Temperature | null {
  if (illuminantXy !== undefined) return temperatureOf(lightAt(illuminantXy));
  const kelvin = illuminantKelvin(illuminant);
  if (kelvin === null) return null;
  const chromaticity = illuminantChromaticity(illuminant);
  return { kelvin, tint: chromaticity === null ? 0 : temperatureOf(chromaticity).tint };
}

/** Distance from light to light, squared, as the reference code of DNG 1.6 has it: 1500 K by temperature, and tint by 200. */
function apart(a: Temperature, b: Temperature): number {
  const across = Math.min(1500 / a.kelvin, 1) - Math.min(1500 / b.kelvin, 1);
  return across ** 2 + ((a.tint - b.tint) / 200) ** 2;
}

/** Parts below this count as none. */
const LEAST_PART = 0.02;

/**
 * Parts of three calibrations under a light (DNG specification 1.6, chapter 6, three calibrations; weights as its reference code computes them):
 * reciprocal squared distance, smoothed, small ones dropped.
 */
function partsOfThree(places: readonly Temperature[], light: Temperature): number[] {
  const shares = (values: readonly number[]): number[] => {
    const sum = values.reduce((all, value) => all + value, 0);
    return values.map((value) => value / sum);
  };
  const near = shares(places.map((place) => 1 / (apart(place, light) + 1e-8)));
  return shares(
    near.map((part) => Math.max(0, (part * part * (3 - 2 * part) - LEAST_PART) / (1 - LEAST_PART))),
  );
}

/** The calibrations that count under a light, each with its part; the first alone when the others say nothing of where they hold. */
function weighted(
  calibrations: readonly Calibration[],
  light: Temperature,
): { readonly calibration: Calibration; readonly part: number }[] {
  const [first] = calibrations;
  if (first === undefined) throw new UndevelopableError('no-colour-matrix', 'no calibration');
  const placed = calibrations.flatMap((calibration) => {
    const place = placeOf(calibration);
    return place === null ? [] : [{ calibration, place }];
  });
  const [one, other, third] = placed;
  if (one === undefined || other === undefined) return [{ calibration: first, part: 1 }];
  if (third !== undefined) {
    const parts = partsOfThree(
      placed.map(({ place }) => place),
      light,
    );
    return placed.map(({ calibration }, index) => ({ calibration, part: parts[index] as number }));
  }
  if (one.place.kelvin === other.place.kelvin) return [{ calibration: one.calibration, part: 1 }];
  const [cool, warm] = one.place.kelvin < other.place.kelvin ? [one, other] : [other, one];
  const part = coolPart(light.kelvin, cool.place.kelvin, warm.place.kelvin);
  return [
    { calibration: cool.calibration, part },
    { calibration: warm.calibration, part: 1 - part },
  ];
}

/** The matrices for a light. Where not every calibration has a forward matrix, those that have one share its part. */
export function matricesAt(tags: ColourTags, light: Temperature): Interpolated {
  const sets = weighted(tags.calibrations, light);
  const mixed = (
    matrices: readonly { readonly values: readonly number[]; readonly part: number }[],
  ): Matrix => {
    const sum = matrices.reduce((all, { part }) => all + part, 0);
    return matrixOf(
      Array.from({ length: 9 }, (_, index) =>
        matrices.reduce(
          // Where none that has one counts, each counts alike.
          (all, { values, part }) =>
            all + (values[index] ?? Number.NaN) * (sum > 0 ? part / sum : 1 / matrices.length),
          0,
        ),
      ),
    );
  };
  const between = (of: (calibration: Calibration) => readonly number[]): Matrix =>
    mixed(sets.map(({ calibration, part }) => ({ values: of(calibration), part })));
  const individual = multiply(
    diagonal(tags.analogBalance),
    between(({ cameraCalibration }) => cameraCalibration),
  );
  const forwards = sets.flatMap(({ calibration: { forwardMatrix }, part }) =>
    forwardMatrix === null ? [] : [{ values: forwardMatrix, part }],
  );
  return {
    xyzToCamera: multiply(
      individual,
      between(({ colourMatrix }) => colourMatrix),
    ),
    individual,
    forward: forwards.length === 0 ? null : mixed(forwards),
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
  const lightFrom = (temperature: Temperature): Chromaticity => {
    const back = inverse(matricesAt(tags, temperature).xyzToCamera);
    const light = back === null ? null : chromaticityOf(apply(back, neutral));
    if (light === null)
      throw new UndevelopableError('white-balance', `no light gives the neutral ${neutral.join(' ')}`);
    return light;
  };
  let light = D50;
  for (let pass = 1; pass <= PASSES; pass += 1) {
    const next = lightFrom(temperatureOf(light));
    const settled = Math.abs(next[0] - light[0]) + Math.abs(next[1] - light[1]) < NEAR;
    light = next;
    if (settled) return light;
  }
  // Two lights that lead to each other for ever (the reference code then takes a middle): the light between them that leads to itself.
  const { tint } = temperatureOf(light);
  let [hot, cold] = MIREDS;
  for (let step = 0; step < 60; step += 1) {
    const mired = (hot + cold) / 2;
    light = lightFrom({ kelvin: 1e6 / mired, tint });
    if (1e6 / temperatureOf(light).kelvin > mired) hot = mired;
    else cold = mired;
  }
  return light;
}

function lightAt([x, y]: readonly [number, number]): Chromaticity {
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
