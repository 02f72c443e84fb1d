/**
 * Camera colours to AP0: the chain of the DNG specification (1.4, chapter 6, “Mapping Camera Color Space to CIE XYZ Space”) computed
 * a second time, digit by digit, outside of this code (Python; the specification prints no worked example), and laws that hold for any camera.
 */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { boundedAdaptation, D50, xyzOf } from '../../media/raw/develop/chromaticity.ts';
import { cameraColour } from '../../media/raw/develop/colour.ts';
import { illuminantKelvin } from '../../media/raw/develop/illuminants.ts';
import {
  apply,
  diagonal,
  inverse,
  type Matrix,
  matrixOf,
  multiply,
  type Triple,
} from '../../media/raw/develop/matrix.ts';
import { chromaticityAt, temperatureOf } from '../../media/raw/develop/temperature.ts';
import { UndevelopableError, type UndevelopableReason } from '../../media/raw/develop/undevelopable.ts';
import { type ColourTags, matricesAt, type WhiteChoice } from '../../media/raw/develop/white.ts';
import '../support/properties.ts';

const unit = [1, 0, 0, 0, 1, 0, 0, 0, 1];
const tungsten = {
  illuminant: 17,
  colourMatrix: [0.9, -0.3, -0.05, -0.45, 1.25, 0.2, -0.1, 0.25, 0.6],
  forwardMatrix: [0.660065, 0.20002, 0.10421, 0.25, 0.8, -0.05, 0.020005, -0.12003, 0.925129],
  cameraCalibration: unit,
};
const daylight = {
  illuminant: 21,
  colourMatrix: [0.8, -0.25, -0.08, -0.4, 1.2, 0.22, -0.05, 0.2, 0.65],
  forwardMatrix: [0.620062, 0.240024, 0.10421, 0.23, 0.82, -0.05, 0.010002, -0.100025, 0.915127],
  cameraCalibration: unit,
};
const forward: ColourTags = {
  calibrations: [tungsten, daylight],
  analogBalance: [1, 1, 1],
  asShotNeutral: [0.45, 1, 0.6],
  asShotWhiteXy: null,
  baselineExposure: 0,
};
const matrix: ColourTags = {
  ...forward,
  calibrations: [
    { ...tungsten, forwardMatrix: null },
    { ...daylight, forwardMatrix: null },
  ],
};
const single: ColourTags = { ...matrix, calibrations: [{ ...daylight, forwardMatrix: null }] };

/** Every value of `found` within half a unit of the sixth place of what is printed, and a hair for the printed inputs' own rounding. */
function expectDigits(
  printedAs: readonly number[] | Matrix,
  printed: readonly number[],
  tolerance = 1e-6,
): void {
  const found = printedAs.flat();
  expect(found.length).toBe(printed.length);
  for (const [index, value] of printed.entries())
    expect(
      Math.abs((found[index] as number) - value),
      `value ${index}: ${found[index]} for ${value}`,
    ).toBeLessThan(tolerance);
}

describe('the second computation', () => {
  test('the light: chromaticity, temperature, and the matrix between the two calibrations', () => {
    const { white, kelvin } = cameraColour(matrix);
    expectDigits(white, [0.351979, 0.385489]);
    expect(kelvin).toBeCloseTo(4879.28, 2);
    expectDigits(
      matricesAt(matrix, { kelvin, tint: 0 }).xyzToCamera,
      [0.825936, -0.262968, -0.072219, -0.412968, 1.212968, 0.214813, -0.062968, 0.212968, 0.637032],
    );
    expectDigits(
      boundedAdaptation(white, D50),
      [1.018431, 0.011563, 0.033524, 0.021644, 0.973972, 0.009199, 0.009243, -0.017136, 1.224309],
    );
  });

  test.each([
    [
      'matrix',
      matrix,
      'colour-matrix',
      [1.374228, 0.256042, 0.209259, -0.034346, 1.111638, -0.160303, -0.021339, -0.463645, 2.455412],
    ],
    [
      'forward',
      forward,
      'forward-matrix',
      [1.41507, 0.213911, 0.248846, 0.019041, 1.004558, -0.021876, 0.038644, -0.13776, 1.867283],
    ],
    [
      'single',
      single,
      'colour-matrix',
      [1.378192, 0.235817, 0.239994, -0.050439, 1.123437, -0.167899, -0.044915, -0.446223, 2.444058],
    ],
  ] as const)('camera to AP0, %s', (_, tags, path, printed) => {
    const colour = cameraColour(tags);
    expect(colour.path).toBe(path);
    // The forward matrices are printed with six places, which the division by the neutral enlarges.
    expectDigits(colour.cameraToAp0, printed, 2e-6);
  });

  test('one illuminant alone gives another light', () => {
    const { white } = cameraColour(single);
    expectDigits(white, [0.357904, 0.385942]);
  });

  test.each([
    ['neutral', [0.45, 1, 0.6], [1, 1, 1], [1, 1, 1]],
    ['a grey card', [0.081, 0.18, 0.108], [0.18, 0.18, 0.18], [0.18, 0.18, 0.18]],
    ['warm', [0.3, 0.4, 0.1], [0.535611, 0.418321, 0.053682], [0.53497, 0.405348, 0.143218]],
    ['cool', [0.1, 0.5, 0.4], [0.349147, 0.488263, 0.748209], [0.348001, 0.495432, 0.681898]],
  ] as const)('%s through both paths', (_, camera, byMatrix, byForward) => {
    expectDigits(apply(cameraColour(matrix).cameraToAp0, camera), byMatrix, 2e-6);
    expectDigits(apply(cameraColour(forward).cameraToAp0, camera), byForward, 2e-6);
  });
});

describe('temperature', () => {
  /** A, D50, D65 (CIE 15) and the white of ACES, with temperatures by a second routine of Robertson's method, apart from this code (isotherms of Wyszecki and Stiles, “Color Science”, table 1(3.11)). */
  test.each([
    [0.44757, 0.40745, 2855.8],
    [0.34567, 0.3585, 5001.8],
    [0.31271, 0.32902, 6503.0],
    [0.32168, 0.33767, 5999.0],
  ])('x %d y %d', (x, y, kelvin) => {
    expect(temperatureOf([x, y]).kelvin).toBeCloseTo(kelvin, 1);
  });

  test('daylight lies above the Planckian locus by about 0.003, tungsten on it', () => {
    expect(temperatureOf([0.3127, 0.329]).tint / 3000).toBeCloseTo(0.0032, 3);
    expect(Math.abs(temperatureOf([0.44757, 0.40745]).tint / 3000)).toBeLessThan(2e-4);
  });

  test('there and back', () => {
    fc.assert(
      fc.property(
        fc.double({ min: 1700, max: 25_000, noNaN: true }),
        fc.double({ min: -30, max: 30, noNaN: true }),
        (kelvin, tint) => {
          const back = temperatureOf(chromaticityAt({ kelvin, tint }));
          // Away from the locus the two ways of going between isotherms differ a little.
          expect(Math.abs(back.kelvin / kelvin - 1)).toBeLessThan(tint === 0 ? 1e-4 : 5e-3);
          expect(Math.abs(back.tint - tint)).toBeLessThan(0.5);
        },
      ),
    );
  });

  test.each([1000, 200_000, Number.NaN])('no light of %d K', (kelvin) => {
    expect(() => chromaticityAt({ kelvin, tint: 0 })).toThrow(RangeError);
  });

  // EXIF LightSource; the temperatures are those of the DNG reference code (media/raw/develop/illuminants.ts).
  test('lights of EXIF by their names', () => {
    expect([17, 3, 24, 23, 20, 21, 22, 12, 13, 14, 15, 16].map(illuminantKelvin)).toEqual([
      2850, 2850, 3200, 5000, 5500, 6500, 7500, 6400, 5050, 4150, 3525, 2925,
    ]);
    expect([0, 255, 77].map(illuminantKelvin)).toEqual([null, null, null]);
  });
});

describe('three calibrations', () => {
  const first = (value: number): number[] => [value, 0, 0, 0, 1, 0, 0, 0, 1];
  // Fluorescent lights of 6400, 5050 and 4150 K, which lie on the locus.
  const three: ColourTags = {
    ...matrix,
    calibrations: [12, 13, 14].map((illuminant, index) => ({
      illuminant,
      colourMatrix: first(index + 1),
      forwardMatrix: index === 1 ? null : first(10 * (index + 1)),
      cameraCalibration: unit,
    })),
  };

  // Parts by numpy from the weights of DNG 1.6: reciprocal squared distance in (1500/T, tint/200), smoothed, those below 0.02 dropped.
  test.each([
    [
      5500,
      20,
      1.7753566572614465,
      (0.38859136936861205 * 10 + 0.16394802663005847 * 30) / (0.38859136936861205 + 0.16394802663005847),
    ],
    [
      4500,
      -30,
      2.1849385535223877,
      (0.21529862955619963 * 10 + 0.4002371830785875 * 30) / (0.21529862955619963 + 0.4002371830785875),
    ],
    // Where the middle one counts alone, which has no forward matrix.
    [5050, 0, 2, 20],
  ] as const)('at %d K, tint %d', (kelvin, tint, expected, ofForward) => {
    const { xyzToCamera, forward: found } = matricesAt(three, { kelvin, tint });
    expect(xyzToCamera[0][0]).toBeCloseTo(expected, 9);
    expect(found?.[0][0]).toBeCloseTo(ofForward, 9);
  });

  test('a light that is `other` lies where the file measured it, and counts as any', () => {
    // 5003 K for the table's own D50 (chromaticity of CIE 15): the same parts as D50 by name.
    const other = (illuminantXy: [number, number]): ColourTags => ({
      ...matrix,
      calibrations: [
        { ...tungsten, forwardMatrix: null },
        { ...daylight, illuminant: 255, illuminantXy },
      ],
    });
    const at = (tags: ColourTags): number => matricesAt(tags, { kelvin: 4000, tint: 0 }).xyzToCamera[0][0];
    // Reciprocal temperature between 2850 K and 6504 K, which D65 of CIE 15 has: part of tungsten by hand.
    const part = (1 / 4000 - 1 / 6504) / (1 / 2850 - 1 / 6504);
    expect(at(other([0.31272, 0.32903]))).toBeCloseTo(0.9 * part + 0.8 * (1 - part), 4);
    // Without the measurement the first alone counts.
    expect(at({ ...matrix, calibrations: [tungsten, { ...daylight, illuminant: 255 }] })).toBe(0.9);
  });
});

/** Cameras whose matrices are diagonally heavy, as those of real filters are. */
const near = (values: readonly number[], by: number): fc.Arbitrary<number[]> =>
  fc.tuple(...values.map((value) => fc.double({ min: value - by, max: value + by, noNaN: true })));
const camera: fc.Arbitrary<ColourTags> = fc.record({
  calibrations: fc.tuple(
    fc.record({
      illuminant: fc.constantFrom(17, 24, 23),
      colourMatrix: near(tungsten.colourMatrix, 0.05),
      forwardMatrix: fc.option(near(tungsten.forwardMatrix, 0.03)),
      cameraCalibration: near(unit, 0.02),
    }),
    fc.record({
      illuminant: fc.constantFrom(21, 22, 0),
      colourMatrix: near(daylight.colourMatrix, 0.05),
      forwardMatrix: fc.option(near(daylight.forwardMatrix, 0.03)),
      cameraCalibration: near(unit, 0.02),
    }),
  ),
  analogBalance: fc.tuple(
    fc.double({ min: 0.8, max: 1.2, noNaN: true }),
    fc.constant(1),
    fc.double({ min: 0.8, max: 1.2, noNaN: true }),
  ),
  asShotNeutral: fc.tuple(
    fc.double({ min: 0.4, max: 0.6, noNaN: true }),
    fc.constant(1),
    fc.double({ min: 0.45, max: 0.7, noNaN: true }),
  ),
  asShotWhiteXy: fc.constant(null),
  baselineExposure: fc.double({ min: -2, max: 2, noNaN: true }),
});

describe('whatever the camera', () => {
  test('grey is neutral: the balanced matrix has unit row sums', () => {
    fc.assert(
      fc.property(camera, (tags) => {
        const { cameraToAp0, neutral } = cameraColour(tags);
        const balanced = multiply(cameraToAp0, diagonal(neutral));
        for (const [a, b, c] of balanced) expect(Math.abs(a + b + c - 1)).toBeLessThan(1e-9);
        expect(Math.max(...neutral)).toBe(1);
      }),
    );
  });

  test('the neutral that a light is found from is the neutral under that light', () => {
    fc.assert(
      fc.property(camera, (tags) => {
        const { neutral } = cameraColour(tags);
        const asked = tags.asShotNeutral as Triple;
        for (const channel of [0, 1, 2] as const)
          expect(Math.abs(neutral[channel] - asked[channel])).toBeLessThan(1e-5);
      }),
    );
  });

  test('the order of the calibrations does not matter', () => {
    fc.assert(
      fc.property(camera, (tags) => {
        const both = tags.calibrations.every(({ illuminant }) => illuminant !== 0);
        const turned = cameraColour({ ...tags, calibrations: [...tags.calibrations].reverse() });
        if (both) expectDigits(turned.cameraToAp0, cameraColour(tags).cameraToAp0.flat(), 1e-12);
        else
          expectDigits(
            cameraColour({ ...tags, calibrations: tags.calibrations.slice(0, 1) }).cameraToAp0,
            cameraColour(tags).cameraToAp0.flat(),
            1e-12,
          );
      }),
    );
  });

  test('both paths agree where the forward matrix is the inverse of the colour matrix under the light', () => {
    const { white, neutral, cameraToAp0 } = cameraColour(single);
    const back = inverse(multiply(matrixOf(daylight.colourMatrix), boundedAdaptation(D50, white))) as Matrix;
    const balanced = multiply(back, diagonal(neutral));
    const [, y] = apply(balanced, [1, 1, 1]);
    const forwardMatrix = balanced.flat().map((value) => value / y);
    const tags = { ...single, calibrations: [{ ...daylight, forwardMatrix }] };
    expect(cameraColour(tags).path).toBe('forward-matrix');
    expectDigits(cameraColour(tags).cameraToAp0, cameraToAp0.flat(), 1e-9);
  });
});

describe('what is chosen', () => {
  const asShot = cameraColour(matrix);

  test.each([
    ['the same neutral', { neutral: [0.9, 2, 1.2] }],
    ['the same light', { x: asShot.white[0], y: asShot.white[1] }],
    ['the same temperature and tint', { kelvin: asShot.kelvin, tint: asShot.tint }],
  ] satisfies [string, WhiteChoice][])('%s gives the same development', (_, choice) => {
    expectDigits(cameraColour(matrix, choice).cameraToAp0, asShot.cameraToAp0.flat(), 1e-3);
  });

  test('AsShotWhiteXY counts where there is no neutral', () => {
    expect(cameraColour({ ...matrix, asShotNeutral: null, asShotWhiteXy: [0.34, 0.35] }).white).toEqual([
      0.34, 0.35,
    ]);
  });

  test('stops add to BaselineExposure', () => {
    expect(cameraColour({ ...matrix, baselineExposure: 0.5 }, 'as-shot', -1.5).exposure).toBe(0.5);
    expect(asShot.exposure).toBe(1);
  });

  test('AnalogBalance scales the camera, so that the same light has another neutral', () => {
    const balanced = cameraColour({ ...matrix, analogBalance: [2, 1, 1] }, { x: 0.351979, y: 0.385489 });
    expectDigits(balanced.neutral, [0.9, 1, 0.6], 1e-5);
    expectDigits(apply(balanced.cameraToAp0, [0.9, 1, 0.6]), [1, 1, 1], 1e-5);
  });

  test.each([
    ['nothing recorded', { ...matrix, asShotNeutral: null }, 'as-shot', 'white-balance'],
    ['a neutral without red', matrix, { neutral: [0, 1, 0.5] }, 'white-balance'],
    ['a light beyond the diagram', matrix, { x: 0.7, y: 0.6 }, 'white-balance'],
    [
      'a colour matrix of equal rows',
      {
        ...single,
        calibrations: [{ ...daylight, forwardMatrix: null, colourMatrix: [1, 1, 1, 1, 1, 1, 1, 1, 1] }],
      },
      { x: 0.34, y: 0.35 },
      'no-colour-matrix',
    ],
    ['no calibration', { ...matrix, calibrations: [] }, { x: 0.34, y: 0.35 }, 'no-colour-matrix'],
  ] satisfies [string, ColourTags, WhiteChoice, UndevelopableReason][])(
    '%s is refused with the reason',
    (_, tags, choice, reason) => {
      const failure = (() => {
        try {
          cameraColour(tags, choice);
        } catch (error) {
          return error;
        }
        return null;
      })();
      expect(failure).toBeInstanceOf(UndevelopableError);
      expect((failure as UndevelopableError).reason).toBe(reason);
    },
  );
});

// ICC.1, 7.2.16: the illuminant of the profile connection space is 0.9642, 1.0, 0.8249; ours follows from its chromaticities 0.3457, 0.3585.
test('D50 has the chromaticities 0.3457, 0.3585', () => {
  expectDigits(xyzOf(D50), [0.964296, 1, 0.825105]);
});
