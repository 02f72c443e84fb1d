/** Temperatures of the lights that calibrations are named by: values of the DNG reference code for EXIF LightSource numbers. */

const middle = (a: number, b: number): number => (a + b) / 2;

const kelvins: Readonly<Record<number, number>> = {
  /** Tungsten, and standard light A. */
  3: 2850,
  17: 2850,
  /** ISO studio tungsten. */
  24: 3200,
  /** D50. */
  23: 5000,
  /** D55, daylight, flash, fine weather, standard light B. */
  20: 5500,
  1: 5500,
  4: 5500,
  9: 5500,
  18: 5500,
  /** D65, cloudy, standard light C. */
  21: 6500,
  10: 6500,
  19: 6500,
  /** D75, shade. */
  22: 7500,
  11: 7500,
  /** Fluorescent: the middle of each one's band. */
  12: middle(5700, 7100),
  13: middle(4600, 5500),
  14: middle(3800, 4500),
  2: middle(3800, 4500),
  15: middle(3250, 3800),
  16: middle(2600, 3250),
};

/** CIE 1931 2° chromaticities of standard lights (CIE 15:2004, table T.3 and 3.1), by the LightSource numbers that name them. */
const standard: Readonly<Record<number, readonly [number, number]>> = {
  3: [0.44757, 0.40745],
  17: [0.44757, 0.40745],
  18: [0.34842, 0.35161],
  19: [0.31006, 0.31616],
  20: [0.33243, 0.34744],
  21: [0.31272, 0.32903],
  22: [0.29903, 0.31488],
  23: [0.34567, 0.35851],
};

/** The light's chromaticity; null where it is known by its temperature at most. */
export const illuminantChromaticity = (lightSource: number): readonly [number, number] | null =>
  standard[lightSource] ?? null;

/** Kelvin; null for `unknown` (0), `other` (255) and numbers that EXIF does not have. */
export const illuminantKelvin = (lightSource: number): number | null => kelvins[lightSource] ?? null;
