/**
 * Correlated colour temperature and tint of a chromaticity, and back, by Robertson's isotherms (J. Opt. Soc. Am. 58, 1528, 1968)
 * with linear interpolation in reciprocal temperature, as the reference code of the DNG specification does it.
 */
import type { Chromaticity } from './chromaticity.ts';

/** One isotherm in the CIE 1960 diagram. */
interface Isotherm {
  /** Reciprocal megakelvin. */
  readonly mired: number;
  /** Where it crosses the Planckian locus. */
  readonly u: number;
  readonly v: number;
  readonly slope: number;
}

/**
 * Wyszecki and Stiles, Color Science, 2nd edition, table 1(3.11). At 325 the book misprints u as 0.24702 for 0.24792; the DNG
 * reference code carries the misprint, and so does this table, since interpolation between a camera's matrices was made with it (at most 30 K).
 */
const isotherms: readonly Isotherm[] = (
  [
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
  ] as const
).map(([mired, u, v, slope]) => ({ mired, u, v, slope }));

/** Tint is counted in steps of 1/3000 in the CIE 1960 diagram along the isotherm, positive above the locus (greenish light). */
const STEPS = 3000;

export interface Temperature {
  /** Correlated colour temperature, kelvin. */
  readonly kelvin: number;
  /** Distance from the Planckian locus in steps of 1/3000 (CIE 1960 u, v); positive above it, where light is greenish. */
  readonly tint: number;
}

/** Direction of an isotherm, of length 1, towards larger u: away from green. */
function direction(slope: number): { du: number; dv: number } {
  const length = Math.hypot(1, slope);
  return { du: 1 / length, dv: slope / length };
}

const between = (a: number, b: number, part: number): number => a * part + b * (1 - part);

/** The direction between two isotherms, `part` of the first. */
function directionBetween(a: Isotherm, b: Isotherm, part: number): { du: number; dv: number } {
  const [one, two] = [direction(a.slope), direction(b.slope)];
  const [du, dv] = [between(one.du, two.du, part), between(one.dv, two.dv, part)];
  const length = Math.hypot(du, dv);
  return { du: du / length, dv: dv / length };
}

/** 1667 K and up; what lies beyond an end is given that end's temperature (the hot end in practice by the isotherm at 10 mired: 10^5 K). */
export function temperatureOf([x, y]: Chromaticity): Temperature {
  const u = (2 * x) / (1.5 - x + 6 * y);
  const v = (3 * y) / (1.5 - x + 6 * y);
  /** Signed distance from the isotherm: negative beyond it, where light is warmer. */
  const distance = (line: Isotherm): number => {
    const { du, dv } = direction(line.slope);
    return -(u - line.u) * dv + (v - line.v) * du;
  };
  const last = isotherms.length - 1;
  let index = 1;
  while (index < last && distance(isotherms[index] as Isotherm) > 0) index += 1;
  const [a, b] = [isotherms[index - 1] as Isotherm, isotherms[index] as Isotherm];
  const beyond = Math.max(0, -distance(b));
  // The first isotherm is that of an infinite temperature: light before the second gets the second's.
  const part = index === 1 ? 0 : beyond / (distance(a) + beyond);
  const { du, dv } = directionBetween(a, b, part);
  const along = (u - between(a.u, b.u, part)) * du + (v - between(a.v, b.v, part)) * dv;
  return { kelvin: 1e6 / between(a.mired, b.mired, part), tint: -along * STEPS };
}

/** The chromaticity that `temperatureOf` gives this temperature and tint. Throws RangeError outside 1667 to 100000 K. */
export function chromaticityAt({ kelvin, tint }: Temperature): Chromaticity {
  if (!(kelvin >= 1667 && kelvin <= 100_000) || !Number.isFinite(tint))
    throw new RangeError(`no light of ${kelvin} K and tint ${tint}; 1667 to 100000 K`);
  const mired = 1e6 / kelvin;
  const index = Math.max(
    1,
    isotherms.findIndex((line) => line.mired >= mired),
  );
  const [a, b] = [isotherms[index - 1] as Isotherm, isotherms[index] as Isotherm];
  const part = (b.mired - mired) / (b.mired - a.mired);
  const { du, dv } = directionBetween(a, b, part);
  const u = between(a.u, b.u, part) - (du * tint) / STEPS;
  const v = between(a.v, b.v, part) - (dv * tint) / STEPS;
  return [(1.5 * u) / (u - 4 * v + 2), v / (u - 4 * v + 2)];
}
