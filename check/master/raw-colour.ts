/**
 * From a raw frame's tags to linear AP0 a second time, apart from the development (media/raw/develop): the chapter "Mapping Camera Color Space to
 * CIE XYZ Space" of the DNG specification with the numbers of its reference code, written down here once more. Spots go by it, so that a master whose
 * matrix, balance or exposure was computed wrongly is held by its pixels.
 */
import type { Interpretation } from '../../media/interpretation.ts';
import type { RawFacts } from '../../media/raw-facts.ts';

type RawPicture = RawFacts['picture'];
type Calibration = RawPicture['calibrations'][number];
type Triple = readonly [number, number, number];
type Chromaticity = readonly [x: number, y: number];
/** Row by row. */
type Nine = readonly number[];

export type RawColourTags = Pick<
  RawPicture,
  'calibrations' | 'analogBalance' | 'asShotNeutral' | 'asShotWhiteXy' | 'baselineExposure'
>;

export interface RawColour {
  /** Camera values of grey, the largest 1. */
  readonly neutral: Triple;
  /** Camera values to AP0, before exposure. */
  readonly matrix: readonly [number, number, number, number, number, number, number, number, number];
  readonly exposure: number;
}

const three = (of: (index: 0 | 1 | 2) => number): Triple => [of(0), of(1), of(2)];
const at = (matrix: Nine, row: number, column: number): number => matrix[3 * row + column] as number;
const by = (matrix: Nine, [a, b, c]: Triple): Triple => [
  at(matrix, 0, 0) * a + at(matrix, 0, 1) * b + at(matrix, 0, 2) * c,
  at(matrix, 1, 0) * a + at(matrix, 1, 1) * b + at(matrix, 1, 2) * c,
  at(matrix, 2, 0) * a + at(matrix, 2, 1) * b + at(matrix, 2, 2) * c,
];
const column = (matrix: Nine, index: number): Triple => [
  at(matrix, 0, index),
  at(matrix, 1, index),
  at(matrix, 2, index),
];
const ofColumns = (columns: readonly [Triple, Triple, Triple]): Nine =>
  [0, 1, 2].flatMap((row) => columns.map((one) => one[row] as number));
const times = (one: Nine, other: Nine): Nine =>
  ofColumns([by(one, column(other, 0)), by(one, column(other, 1)), by(one, column(other, 2))]);
const scaledRows = ([a, b, c]: Triple, matrix: Nine): Nine =>
  matrix.map((value, index) => value * ([a, b, c][Math.floor(index / 3)] as number));
const crossed = (a: Triple, b: Triple): Triple => [
  a[1] * b[2] - a[2] * b[1],
  a[2] * b[0] - a[0] * b[2],
  a[0] * b[1] - a[1] * b[0],
];
/** Rows of the inverse are what stands upright on two columns, by the volume of all three. */
function inverted(matrix: Nine): Nine {
  const [a, b, c] = [column(matrix, 0), column(matrix, 1), column(matrix, 2)];
  const [first, second, third] = [crossed(b, c), crossed(c, a), crossed(a, b)];
  const volume = a[0] * first[0] + a[1] * first[1] + a[2] * first[2];
  return [...first, ...second, ...third].map((value) => value / volume);
}

const xyz = ([x, y]: Chromaticity): Triple => [x / y, 1, (1 - x - y) / y];

/** D50 as the specification rounds it; the white of ACES and the primaries AP0 (SMPTE ST 2065-1). */
const D50: Chromaticity = [0.3457, 0.3585];
const ACES_WHITE: Chromaticity = [0.32168, 0.33767];
const AP0: readonly [Chromaticity, Chromaticity, Chromaticity] = [
  [0.7347, 0.2653],
  [0, 1],
  [0.0001, -0.077],
];
/** Cone responses of the linear Bradford transform (ICC.1:2010, annex E). */
const CONES: Nine = [0.8951, 0.2664, -0.1614, -0.7502, 1.7135, 0.0367, 0.0389, -0.0685, 1.0296];

/** From one white to another; the reference code holds each cone between a tenth and ten. */
function adapted(from: Chromaticity, to: Chromaticity): Nine {
  const [was, becomes] = [by(CONES, xyz(from)), by(CONES, xyz(to))];
  const gain = (cone: 0 | 1 | 2): number =>
    Math.min(10, Math.max(0.1, was[cone] > 0 ? becomes[cone] / was[cone] : 10));
  return times(inverted(CONES), scaledRows([gain(0), gain(1), gain(2)], CONES));
}

/** XYZ of D50 to AP0: the primaries weighted so that all three together are the white. */
function toAp0(): Nine {
  const primary = (index: 0 | 1 | 2): Triple => {
    const [x, y] = AP0[index];
    return [x, y, 1 - x - y];
  };
  const primaries = ofColumns([primary(0), primary(1), primary(2)]);
  const weights = by(inverted(primaries), xyz(ACES_WHITE));
  const weighted = primaries.map((value, index) => value * (weights[index % 3] as number));
  return times(inverted(weighted), adapted(D50, ACES_WHITE));
}

/** Isotherms (Wyszecki and Stiles, "Color Science", table 1(3.11)): reciprocal megakelvin, u, v, slope; 0.24702 at 325 as the reference code has it. */
const ISOTHERMS: readonly (readonly [mired: number, u: number, v: number, slope: number])[] = [
  [0, 0.18006, 0.26352, -0.24341],
  [10, 0.18066, 0.26589, -0.25479],
  [20, 0.18133, 0.26846, -0.26876],
  [30, 0.18208, 0.27119, -0.28539],
  [40, 0.18293, 0.27407, -0.3047],
  [50, 0.18388, 0.27709, -0.32675],
  [60, 0.18494, 0.28021, -0.35156],
  [70, 0.18611, 0.28342, -0.37915],
  [80, 0.1874, 0.28668, -0.40955],
  [90, 0.1888, 0.28997, -0.44278],
  [100, 0.19032, 0.29326, -0.47888],
  [125, 0.19462, 0.30141, -0.58204],
  [150, 0.19962, 0.30921, -0.70471],
  [175, 0.20525, 0.31647, -0.84901],
  [200, 0.21142, 0.32312, -1.0182],
  [225, 0.21807, 0.32909, -1.2168],
  [250, 0.22511, 0.33439, -1.4512],
  [275, 0.23247, 0.33904, -1.7298],
  [300, 0.2401, 0.34308, -2.0637],
  [325, 0.24702, 0.34655, -2.4681],
  [350, 0.25591, 0.34951, -2.9641],
  [375, 0.264, 0.352, -3.5814],
  [400, 0.27218, 0.35407, -4.3633],
  [425, 0.28039, 0.35577, -5.3762],
  [450, 0.28863, 0.35714, -6.7262],
  [475, 0.29685, 0.35823, -8.5955],
  [500, 0.30505, 0.35907, -11.324],
  [525, 0.3132, 0.35968, -15.628],
  [550, 0.32129, 0.36011, -23.325],
  [575, 0.32931, 0.36038, -40.77],
  [600, 0.33724, 0.36051, -116.45],
];

/** Kelvin, and steps of 1/3000 from the Planckian locus in CIE 1960, positive where light is greenish. */
interface Light {
  readonly kelvin: number;
  readonly tint: number;
}

const lineAt = (index: number): (typeof ISOTHERMS)[number] => ISOTHERMS[index] as (typeof ISOTHERMS)[number];
/** Where a share of the way from the isotherm before `index` to it lies: place on the locus, and the direction of isotherms there. */
function between(
  index: number,
  share: number,
): { mired: number; u: number; v: number; du: number; dv: number } {
  const [a, b] = [lineAt(index - 1), lineAt(index)];
  const mix = (one: number, other: number): number => one + (other - one) * share;
  const [du, dv] = [
    mix(1 / Math.sqrt(1 + a[3] ** 2), 1 / Math.sqrt(1 + b[3] ** 2)),
    mix(a[3] / Math.sqrt(1 + a[3] ** 2), b[3] / Math.sqrt(1 + b[3] ** 2)),
  ];
  const length = Math.sqrt(du ** 2 + dv ** 2);
  return { mired: mix(a[0], b[0]), u: mix(a[1], b[1]), v: mix(a[2], b[2]), du: du / length, dv: dv / length };
}

function lightOf([x, y]: Chromaticity): Light {
  const [u, v] = [(2 * x) / (1.5 - x + 6 * y), (3 * y) / (1.5 - x + 6 * y)];
  // How far above the isotherm: it has passed the light where that is no longer so.
  const above = ISOTHERMS.map(
    ([, lineU, lineV, slope]) => (v - lineV - slope * (u - lineU)) / Math.sqrt(1 + slope ** 2),
  );
  const passed = above.findIndex((value, index) => index > 0 && value <= 0);
  const index = passed < 0 ? ISOTHERMS.length - 1 : passed;
  const [before, behind] = [above[index - 1] as number, Math.min(0, above[index] as number)];
  // Before the first of a finite temperature there is none to go between.
  const share = index === 1 ? 1 : before / (before - behind);
  const place = between(index, share);
  return {
    kelvin: 1e6 / place.mired,
    tint: -3000 * ((u - place.u) * place.du + (v - place.v) * place.dv),
  };
}

function chromaticityAt({ kelvin, tint }: Light): Chromaticity {
  const mired = 1e6 / kelvin;
  const index = ISOTHERMS.findIndex(([line], number) => number > 0 && line >= mired);
  const [from, to] = [lineAt(index - 1)[0], lineAt(index)[0]];
  const place = between(index, (mired - from) / (to - from));
  const [u, v] = [place.u - (place.du * tint) / 3000, place.v - (place.dv * tint) / 3000];
  return [(3 * u) / (2 * u - 8 * v + 4), (2 * v) / (2 * u - 8 * v + 4)];
}

/** EXIF LightSource: kelvin by the reference code of DNG, and x, y of those that CIE 15:2004 has. */
const LIGHT_SOURCES: Readonly<Record<number, readonly [kelvin: number, x?: number, y?: number]>> = {
  1: [5500],
  2: [4150],
  3: [2850, 0.44757, 0.40745],
  4: [5500],
  9: [5500],
  10: [6500],
  11: [7500],
  12: [6400],
  13: [5050],
  14: [4150],
  15: [3525],
  16: [2925],
  17: [2850, 0.44757, 0.40745],
  18: [5500, 0.34842, 0.35161],
  19: [6500, 0.31006, 0.31616],
  20: [5500, 0.33243, 0.34744],
  21: [6500, 0.31272, 0.32903],
  22: [7500, 0.29903, 0.31488],
  23: [5000, 0.34567, 0.35851],
  24: [3200],
};

/** null: the calibration says nothing of where it holds. */
function lightOfCalibration({ illuminant, illuminantXy }: Calibration): Light | null {
  if (illuminantXy !== undefined) return lightOf(illuminantXy);
  const known = LIGHT_SOURCES[illuminant];
  if (known === undefined) return null;
  const [kelvin, x, y] = known;
  return { kelvin, tint: x === undefined || y === undefined ? 0 : lightOf([x, y]).tint };
}

const shared = (values: readonly number[]): number[] => {
  const sum = values.reduce((all, value) => all + value, 0);
  return values.map((value) => value / sum);
};

/** How much each calibration counts: one alone; two by reciprocal temperature; three by how near each is (DNG 1.6), smoothed, those below a fiftieth not at all. */
function weightsOf(calibrations: readonly Calibration[], { kelvin, tint }: Light): number[] {
  const lights = calibrations.map(lightOfCalibration);
  const known = lights.flatMap((light, index) => (light === null ? [] : [{ ...light, index }]));
  const [one, two] = known;
  const alone = (index: number): number[] => calibrations.map((_, number) => (number === index ? 1 : 0));
  if (one === undefined || two === undefined) return alone(0);
  const weights = calibrations.map(() => 0);
  if (known.length === 2) {
    if (one.kelvin === two.kelvin) return alone(one.index);
    const share = (1 / kelvin - 1 / two.kelvin) / (1 / one.kelvin - 1 / two.kelvin);
    weights[one.index] = Math.min(1, Math.max(0, share));
    weights[two.index] = 1 - (weights[one.index] as number);
    return weights;
  }
  const warmth = (of: number): number => (of < 1500 ? 1 : 1500 / of);
  const near = shared(
    known.map((light) => {
      const [away, aside] = [warmth(light.kelvin) - warmth(kelvin), (light.tint - tint) / 200];
      return 1 / (away * away + aside * aside + 1e-8);
    }),
  );
  const smooth = near.map((share) => share ** 2 * (3 - 2 * share));
  for (const [number, share] of shared(
    smooth.map((value) => (value <= 0.02 ? 0 : (value - 0.02) / 0.98)),
  ).entries())
    weights[known[number]?.index as number] = share;
  return weights;
}

/** Matrices under a light: XYZ to camera, what this camera differs by from its kind, and the forward matrix of those that have one. */
function matricesUnder(
  { calibrations, analogBalance }: RawColourTags,
  light: Light,
): { fromXyz: Nine; own: Nine; forward: Nine | null } {
  const weights = weightsOf(calibrations, light);
  const mixed = (matrices: readonly (readonly number[])[], shares: readonly number[]): Nine =>
    Array.from({ length: 9 }, (_, index) =>
      matrices.reduce(
        (sum, matrix, number) => sum + (shares[number] as number) * (matrix[index] as number),
        0,
      ),
    );
  const own = scaledRows(
    analogBalance,
    mixed(
      calibrations.map(({ cameraCalibration }) => cameraCalibration),
      weights,
    ),
  );
  const forwards = calibrations.flatMap(({ forwardMatrix }, index) =>
    // Of two of which one says nothing of its light the first alone counts, and so does its matrix.
    forwardMatrix === null || lightless(calibrations, index)
      ? []
      : [{ forwardMatrix, weight: weights[index] as number }],
  );
  const all = forwards.reduce((sum, { weight }) => sum + weight, 0);
  const forward =
    forwards.length === 0
      ? null
      : mixed(
          forwards.map(({ forwardMatrix }) => forwardMatrix),
          forwards.map(({ weight }) => (all > 0 ? weight / all : 1 / forwards.length)),
        );
  return {
    fromXyz: times(
      own,
      mixed(
        calibrations.map(({ colourMatrix }) => colourMatrix),
        weights,
      ),
    ),
    own,
    forward,
  };
}

/** Whether this calibration is none of those that can count. */
function lightless(calibrations: readonly Calibration[], index: number): boolean {
  const lights = calibrations.map(lightOfCalibration);
  const known = lights.filter((light) => light !== null);
  const [first, second] = known;
  if (known.length < 2) return index !== 0;
  if (known.length === 2 && first?.kelvin === second?.kelvin)
    return index !== lights.findIndex((light) => light !== null);
  return lights[index] === null;
}

/** Passes of the reference code, and what it takes for settled. */
const PASSES = 30;
const SETTLED = 1e-7;

/** The light that gives the camera these values of grey: from D50 on each leads to the next, until one leads to itself. null: none does. */
function lightOfNeutral(tags: RawColourTags, neutral: Triple): Chromaticity | null {
  let [wasX, wasY] = D50;
  for (let pass = 0; pass < PASSES; pass += 1) {
    const seen = by(inverted(matricesUnder(tags, lightOf([wasX, wasY])).fromXyz), neutral);
    const sum = seen[0] + seen[1] + seen[2];
    const [x, y] = [seen[0] / sum, seen[1] / sum];
    const moved = Math.abs(x - wasX) + Math.abs(y - wasY);
    [wasX, wasY] = [x, y];
    if (moved < SETTLED) return [x, y];
  }
  return null;
}

function whiteOf(
  tags: RawColourTags,
  choice: NonNullable<Interpretation['raw']>['whiteBalance'],
): Chromaticity | null {
  if (choice !== 'as-shot') {
    if ('neutral' in choice) return lightOfNeutral(tags, choice.neutral);
    return 'kelvin' in choice ? chromaticityAt(choice) : [choice.x, choice.y];
  }
  if (tags.asShotNeutral !== null) return lightOfNeutral(tags, tags.asShotNeutral);
  if (tags.asShotWhiteXy !== null) return tags.asShotWhiteXy;
  throw new RangeError('a frame that does not say its white');
}

/** ISO 12232 by its saturation-based speed: a metered grey card of 0.18 lies at 10/78 of where the sensor is full. */
const METERED = 0.18 / (10 / 78);

/** Of tags that a development follows from. `decided`: the light that it was developed for, which counts where no light leads to itself. */
export function rawColourOf(
  tags: RawColourTags,
  { whiteBalance, exposureStops, anchor }: NonNullable<Interpretation['raw']>,
  decided: { readonly x: number; readonly y: number },
): RawColour {
  const white = whiteOf(tags, whiteBalance) ?? ([decided.x, decided.y] as const);
  const { fromXyz, own, forward } = matricesUnder(tags, lightOf(white));
  const seen = by(fromXyz, xyz(white));
  const most = Math.max(...seen);
  const neutral = three((channel) => Math.max(0.001, seen[channel] / most));
  let toD50: Nine;
  if (forward === null) {
    const fromD50 = times(fromXyz, adapted(D50, white));
    const brightest = Math.max(...by(fromD50, xyz(D50)));
    toD50 = inverted(fromD50.map((value) => value / brightest));
  } else {
    const toReference = inverted(own);
    const [r, g, b] = by(toReference, neutral);
    const [x, y, z] = by(forward, [1, 1, 1]);
    const [wantedX, wantedY, wantedZ] = xyz(D50);
    const exact = scaledRows([wantedX / x, wantedY / y, wantedZ / z], forward);
    toD50 = times(exact, scaledRows([1 / r, 1 / g, 1 / b], toReference));
  }
  const matrix = times(toAp0(), toD50);
  const cell = (index: number): number => matrix[index] as number;
  return {
    neutral,
    matrix: [cell(0), cell(1), cell(2), cell(3), cell(4), cell(5), cell(6), cell(7), cell(8)],
    exposure: 2 ** (tags.baselineExposure + exposureStops) * (anchor === 'metered' ? METERED : 1),
  };
}
