/** The checker's own way from a raw frame's tags to AP0: the digits of a third computation, and what the development finds, whatever the camera. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { type RawColourTags, rawColourOf } from '../../check/master/raw-colour.ts';
import type { Calibration } from '../../media/formats/dng/header.ts';
import type { Interpretation } from '../../media/interpretation.ts';
import { developmentOf } from '../../media/raw/develop/development.ts';
import { rawPicture } from '../support/raw-picture.ts';
import '../support/properties.ts';

type Choice = NonNullable<Interpretation['raw']>;
const asShot: Choice = { whiteBalance: 'as-shot', exposureStops: 0, anchor: 'sensor' };
/** Where a light is found, what was decided does not count. */
const NOWHERE = { x: Number.NaN, y: Number.NaN };
const unit = [1, 0, 0, 0, 1, 0, 0, 0, 1];
const tungsten: Calibration = {
  illuminant: 17,
  colourMatrix: [0.9, -0.3, -0.05, -0.45, 1.25, 0.2, -0.1, 0.25, 0.6],
  forwardMatrix: [0.660065, 0.20002, 0.10421, 0.25, 0.8, -0.05, 0.020005, -0.12003, 0.925129],
  cameraCalibration: unit,
};
const daylight: Calibration = {
  illuminant: 21,
  colourMatrix: [0.8, -0.25, -0.08, -0.4, 1.2, 0.22, -0.05, 0.2, 0.65],
  forwardMatrix: [0.620062, 0.240024, 0.10421, 0.23, 0.82, -0.05, 0.010002, -0.100025, 0.915127],
  cameraCalibration: unit,
};
const tagsOf = (calibrations: readonly Calibration[], forward: boolean): RawColourTags => ({
  calibrations: calibrations.map((one) => (forward ? { ...one } : { ...one, forwardMatrix: null })),
  analogBalance: [1, 1, 1],
  asShotNeutral: [0.45, 1, 0.6],
  asShotWhiteXy: null,
  baselineExposure: 0,
});

// As in test/raw/develop-colour.test.ts: by hand in Python from chapter 6 of the DNG specification.
test.each([
  [
    'matrix',
    tagsOf([tungsten, daylight], false),
    [1.374228, 0.256042, 0.209259, -0.034346, 1.111638, -0.160303, -0.021339, -0.463645, 2.455412],
  ],
  [
    'forward',
    tagsOf([tungsten, daylight], true),
    [1.41507, 0.213911, 0.248846, 0.019041, 1.004558, -0.021876, 0.038644, -0.13776, 1.867283],
  ],
  [
    'single',
    tagsOf([daylight], false),
    [1.378192, 0.235817, 0.239994, -0.050439, 1.123437, -0.167899, -0.044915, -0.446223, 2.444058],
  ],
] as const)('the digits of another computation, %s', (_, tags, printed) => {
  const { matrix } = rawColourOf(tags, asShot, NOWHERE);
  for (const [index, value] of printed.entries())
    expect(Math.abs((matrix[index] as number) - value), `value ${index}`).toBeLessThan(2e-6);
});

const near = (values: readonly number[], within: number): fc.Arbitrary<number[]> =>
  fc.tuple(...values.map((value) => fc.double({ min: value - within, max: value + within, noNaN: true })));
const calibration = (
  of: Calibration,
  lights: fc.Arbitrary<Partial<Calibration>>,
): fc.Arbitrary<Calibration> =>
  fc
    .record({
      colourMatrix: near(of.colourMatrix, 0.05),
      forwardMatrix: fc.option(near(of.forwardMatrix ?? [], 0.03)),
      cameraCalibration: near(unit, 0.02),
    })
    .chain((one) => lights.map((light) => ({ illuminant: 0, ...one, ...light })));
const named = (...numbers: number[]): fc.Arbitrary<Partial<Calibration>> =>
  fc.constantFrom(...numbers).map((illuminant) => ({ illuminant }));
const measured: fc.Arbitrary<Partial<Calibration>> = fc
  .tuple(fc.double({ min: 0.29, max: 0.46, noNaN: true }), fc.double({ min: 0.3, max: 0.42, noNaN: true }))
  .map((illuminantXy) => ({ illuminant: 255, illuminantXy }));
const middle: Calibration = {
  ...tungsten,
  colourMatrix: tungsten.colourMatrix.map(
    (value, index) => (value + (daylight.colourMatrix[index] as number)) / 2,
  ),
};
const cameras: fc.Arbitrary<Calibration[]> = fc.oneof(
  fc.tuple(calibration(daylight, named(21, 23, 0))),
  fc.tuple(calibration(tungsten, named(17, 24, 3)), calibration(daylight, named(21, 22, 10, 17, 0))),
  fc.tuple(calibration(tungsten, measured), calibration(daylight, named(21, 22))),
  fc.tuple(
    calibration(tungsten, named(17, 24)),
    calibration(daylight, named(21, 22, 0)),
    calibration(middle, fc.oneof(named(23, 14, 255), measured)),
  ),
);
const value = (min: number, max: number): fc.Arbitrary<number> => fc.double({ min, max, noNaN: true });
const neutral = fc.tuple(value(0.4, 0.6), fc.constant(1), value(0.45, 0.7));
const choices: fc.Arbitrary<Choice> = fc.record({
  whiteBalance: fc.oneof(
    fc.constant('as-shot' as const),
    neutral.map((one) => ({ neutral: one })),
    fc.record({ kelvin: value(2000, 20_000), tint: value(-30, 30) }),
    fc.record({ x: value(0.3, 0.45), y: value(0.3, 0.41) }),
  ),
  exposureStops: value(-3, 3),
  anchor: fc.constantFrom('sensor', 'metered'),
});

describe('what the development finds', () => {
  test('is found again, with one, two or three calibrations, whatever white is chosen', () => {
    fc.assert(
      fc.property(
        cameras,
        choices,
        fc.tuple(value(0.8, 1.2), fc.constant(1), value(0.8, 1.2)),
        neutral,
        value(-2, 2),
        (calibrations, choice, analogBalance, asShotNeutral, baselineExposure) => {
          const tags: RawColourTags = {
            calibrations,
            analogBalance,
            asShotNeutral,
            asShotWhiteXy: null,
            baselineExposure,
          };
          const developed = developmentOf({ ...rawPicture(8, 8), ...tags }, choice);
          if ('missing' in developed) throw new Error(developed.missing);
          const again = rawColourOf(tags, choice, developed.white);
          const size = Math.max(...developed.matrix.flat().map(Math.abs));
          for (const [index, found] of developed.matrix.flat().entries())
            expect(Math.abs((again.matrix[index] as number) - found) / size, `value ${index}`).toBeLessThan(
              1e-6,
            );
          for (const channel of [0, 1, 2] as const)
            expect(Math.abs(again.neutral[channel] - developed.neutral[channel])).toBeLessThan(1e-6);
          expect(again.exposure / developed.exposure).toBeCloseTo(1, 12);
        },
      ),
    );
  });

  test('a temperature that somebody chose is said as it was chosen', () => {
    const tags = tagsOf([tungsten, daylight], true);
    const whiteBalance = { kelvin: 4800, tint: 4 };
    expect(developmentOf({ ...rawPicture(8, 8), ...tags }, { ...asShot, whiteBalance })).toMatchObject({
      white: whiteBalance,
    });
  });

  test('of a frame that says its white by x and y', () => {
    const tags = {
      ...tagsOf([tungsten, daylight], true),
      asShotNeutral: null,
      asShotWhiteXy: [0.34, 0.35] as [number, number],
    };
    const developed = developmentOf({ ...rawPicture(8, 8), ...tags }, asShot);
    if ('missing' in developed) throw new Error(developed.missing);
    const again = rawColourOf(tags, asShot, NOWHERE);
    for (const [index, found] of developed.matrix.flat().entries())
      expect(again.matrix[index]).toBeCloseTo(found, 9);
  });
});
