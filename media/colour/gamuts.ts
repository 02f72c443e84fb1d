/** Colour spaces by their primaries and white, and the matrices between them, computed in double precision (SMPTE RP 177). */
import { type Matrix, type Triple, apply, diagonal, invert, multiply } from './matrix.ts';

/** CIE 1931 x and y. */
export type Chromaticity = readonly [number, number];

/** Cone spaces in which one white is brought to another (von Kries). */
export const adaptations = ['bradford', 'cat02'] as const;
export type Adaptation = (typeof adaptations)[number];

export interface Gamut {
  readonly red: Chromaticity;
  readonly green: Chromaticity;
  readonly blue: Chromaticity;
  readonly white: Chromaticity;
  /** In which cone space this space's publisher, or ACES for it, adapts to the white of ACES. */
  readonly adaptation: Adaptation;
}

export const gamutNames = [
  'ap0',
  'ap1',
  'bt709',
  'bt2020',
  'p3d65',
  'sgamut3',
  'sgamut3cine',
  'awg3',
  'awg4',
  'vgamut',
  'rwg',
  'dgamut',
] as const;
export type GamutName = (typeof gamutNames)[number];

const D65: Chromaticity = [0.3127, 0.329];
/** The white of ACES, near D60 (SMPTE ST 2065-1). */
const ACES_WHITE: Chromaticity = [0.32168, 0.33767];

/**
 * SMPTE ST 2065-1 (ap0), Academy S-2014-004 (ap1), ITU-R BT.709 and BT.2020, SMPTE EG 432-1 (p3d65), and the published
 * papers of the camera spaces. Adaptation: the transforms that the Academy publishes for each camera space; Bradford for the
 * others, as OpenColorIO's displays do. Between ap0 and ap1 there is nothing to adapt.
 */
export const gamuts: Readonly<Record<GamutName, Gamut>> = {
  ap0: {
    red: [0.7347, 0.2653],
    green: [0, 1],
    blue: [0.0001, -0.077],
    white: ACES_WHITE,
    adaptation: 'bradford',
  },
  ap1: {
    red: [0.713, 0.293],
    green: [0.165, 0.83],
    blue: [0.128, 0.044],
    white: ACES_WHITE,
    adaptation: 'bradford',
  },
  bt709: { red: [0.64, 0.33], green: [0.3, 0.6], blue: [0.15, 0.06], white: D65, adaptation: 'bradford' },
  bt2020: {
    red: [0.708, 0.292],
    green: [0.17, 0.797],
    blue: [0.131, 0.046],
    white: D65,
    adaptation: 'bradford',
  },
  p3d65: { red: [0.68, 0.32], green: [0.265, 0.69], blue: [0.15, 0.06], white: D65, adaptation: 'bradford' },
  sgamut3: { red: [0.73, 0.28], green: [0.14, 0.855], blue: [0.1, -0.05], white: D65, adaptation: 'cat02' },
  sgamut3cine: {
    red: [0.766, 0.275],
    green: [0.225, 0.8],
    blue: [0.089, -0.087],
    white: D65,
    adaptation: 'cat02',
  },
  awg3: {
    red: [0.684, 0.313],
    green: [0.221, 0.848],
    blue: [0.0861, -0.102],
    white: D65,
    adaptation: 'cat02',
  },
  awg4: {
    red: [0.7347, 0.2653],
    green: [0.1424, 0.8576],
    blue: [0.0991, -0.0308],
    white: D65,
    adaptation: 'cat02',
  },
  vgamut: { red: [0.73, 0.28], green: [0.165, 0.84], blue: [0.1, -0.03], white: D65, adaptation: 'bradford' },
  rwg: {
    red: [0.780308, 0.304253],
    green: [0.121595, 1.493994],
    blue: [0.095612, -0.084589],
    white: D65,
    adaptation: 'bradford',
  },
  dgamut: { red: [0.71, 0.31], green: [0.21, 0.88], blue: [0.09, -0.08], white: D65, adaptation: 'bradford' },
};

type Primaries = Pick<Gamut, 'red' | 'green' | 'blue' | 'white'>;

/** Files state chromaticities in four places or as 32-bit floats; no two gamuts here lie nearer to each other than 0.019 in the place where they differ most. */
const SAME_CHROMATICITY = 0.0005;

/** Whether both are the same space, by their primaries and white. */
export function samePrimaries(a: Primaries, b: Primaries): boolean {
  return (['red', 'green', 'blue', 'white'] as const).every((name) =>
    ([0, 1] as const).every((axis) => Math.abs(a[name][axis] - b[name][axis]) <= SAME_CHROMATICITY),
  );
}

/** The published space with these primaries and white; null: none of them. */
export function gamutOf(primaries: Primaries): GamutName | null {
  return gamutNames.find((name) => samePrimaries(gamuts[name], primaries)) ?? null;
}

const CONES: Readonly<Record<Adaptation, Matrix>> = {
  bradford: [
    [0.8951, 0.2664, -0.1614],
    [-0.7502, 1.7135, 0.0367],
    [0.0389, -0.0685, 1.0296],
  ],
  cat02: [
    [0.7328, 0.4296, -0.1624],
    [-0.7036, 1.6975, 0.0061],
    [0.003, 0.0136, 0.9834],
  ],
};

/** Of that chromaticity, with Y = 1. */
const xyzOf = ([x, y]: Chromaticity): Triple => [x / y, 1, (1 - x - y) / y];

/** Linear RGB to XYZ, so that R = G = B = 1 is the white with Y = 1. Throws RangeError when the primaries lie on one line. */
export function toXyz({ red, green, blue, white }: Omit<Gamut, 'adaptation'>): Matrix {
  // Not through xyzOf: a primary may have y = 0.
  const primaries: Matrix = [
    [red[0], green[0], blue[0]],
    [red[1], green[1], blue[1]],
    [1 - red[0] - red[1], 1 - green[0] - green[1], 1 - blue[0] - blue[1]],
  ];
  return multiply(primaries, diagonal(apply(invert(primaries), xyzOf(white))));
}

/** XYZ under one white to XYZ under another. */
export function adapt(from: Chromaticity, to: Chromaticity, adaptation: Adaptation): Matrix {
  const cones = CONES[adaptation];
  const [source, target] = [apply(cones, xyzOf(from)), apply(cones, xyzOf(to))];
  return multiply(
    invert(cones),
    diagonal([target[0] / source[0], target[1] / source[1], target[2] / source[2]]),
    cones,
  );
}

/** Linear RGB of one space to linear RGB of another. */
export function between(
  from: Omit<Gamut, 'adaptation'>,
  to: Omit<Gamut, 'adaptation'>,
  adaptation: Adaptation,
): Matrix {
  return multiply(invert(toXyz(to)), adapt(from.white, to.white, adaptation), toXyz(from));
}

/** Linear RGB of a space to linear AP0. */
export const toAp0 = (gamut: Gamut): Matrix => between(gamut, gamuts.ap0, gamut.adaptation);

export const ap0ToAp1: Matrix = between(gamuts.ap0, gamuts.ap1, 'bradford');
