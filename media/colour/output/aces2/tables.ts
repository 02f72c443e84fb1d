/** Tables by hue of ACES 2, built once for a peak and limiting primaries (aces-core, April 2025; look-up between rows as OpenColorIO's). */
import { gamuts } from '../../gamuts.ts';
import type { Triple } from '../../matrix.ts';
import {
  type Appearance,
  type ConeSet,
  LIGHTNESS_POWER,
  achromatic,
  appearanceOf,
  coneSet,
  hueOf,
  newAppearance,
  rgbOf,
} from './appearance.ts';
import { CUSP_MARGIN, type Hull, type HueHull, lineThrough } from './hull.ts';

/** Of every table; the last row is followed by the first again. */
export const ROWS = 360;

export interface Tables {
  /** Colourfulness of AP1 at the peak's lightness, by whole degrees. */
  readonly reach: Float64Array;
  /** Hue of every row in degrees, ascending, every corner of both cubes among them, and the same rows of the others. */
  readonly hue: Float64Array;
  readonly cuspLightness: Float64Array;
  readonly cuspColourfulness: Float64Array;
  /** 1/γ. */
  readonly upperPower: Float64Array;
}

const at = (table: Float64Array | readonly number[], index: number): number => table[index] as number;

/** Red, yellow, green, cyan, blue, magenta: hues ascend in this order. */
const CORNERS: readonly Triple[] = [
  [1, 0, 0],
  [1, 1, 0],
  [0, 1, 0],
  [0, 1, 1],
  [0, 0, 1],
  [1, 0, 1],
];
const times = ([r, g, b]: Triple, by: number): Triple => [r * by, g * by, b * by];

function withHue(into: Appearance, degrees: number): Appearance {
  into.cos = Math.cos((degrees * Math.PI) / 180);
  into.sin = Math.sin((degrees * Math.PI) / 180);
  return into;
}

/** Halves until the two are within `width` of each other; `outer` is what lies beyond. Gives the last two. */
function bisect(
  low: number,
  high: number,
  width: number,
  outer: (value: number) => boolean,
): readonly [number, number] {
  let [inside, outside] = [low, high];
  while (outside - inside > width) {
    const middle = (inside + outside) / 2;
    if (outer(middle)) outside = middle;
    else inside = middle;
  }
  return [inside, outside];
}

function reachTable(ap1: ConeSet, most: number): Float64Array {
  const colour = newAppearance();
  const rgb: [number, number, number] = [0, 0, 0];
  const table = new Float64Array(ROWS + 1);
  for (let degree = 0; degree < ROWS; degree += 1) {
    withHue(colour, degree);
    const outer = (colourfulness: number): boolean => {
      colour.lightness = most;
      colour.colourfulness = colourfulness;
      rgbOf(ap1, colour, rgb);
      return rgb[0] < 0 || rgb[1] < 0 || rgb[2] < 0;
    };
    let [low, high] = [0, 50];
    while (!outer(high) && high < 1300) [low, high] = [high, high + 50];
    table[degree] = bisect(low, high, 1e-2, outer)[1];
  }
  table[ROWS] = at(table, 0);
  return table;
}

/** Hues of the corners of AP1, each of the peak's achromatic response. */
function reachCornerHues(ap1: ConeSet, hull: Hull, forwardLimit: number): number[] {
  const wanted = (hull.most / 100) ** (1 / LIGHTNESS_POWER);
  return CORNERS.map((corner) => {
    const [, scale] = bisect(0, forwardLimit, 1e-3, (by) => achromatic(ap1, ...times(corner, by)) >= wanted);
    return hueOf(appearanceOf(ap1, times(corner, scale), newAppearance()));
  });
}

/** Every corner at a row of its own, other rows evenly between. */
function hueTable(corners: readonly number[]): Float64Array {
  const places: number[] = [];
  let least = corners[0] === 0 ? 0 : 1;
  for (const [index, hue] of corners.entries()) {
    let place = Math.min(Math.max(Math.round(hue), least), ROWS - 1);
    const before = places[index - 1];
    if (before === place) {
      if (index > 1 && at(places, index - 2) !== before - 1) places[index - 1] = before - 1;
      else place += 1;
    }
    places.push(Math.min(place, ROWS - 1));
    least = place;
  }
  const stops = [[0, 0] as const, ...places.map((place, index) => [place, at(corners, index)] as const)];
  stops.push([ROWS, 360]);
  const table = new Float64Array(ROWS + 1);
  for (const [index, [to, high]] of stops.entries()) {
    if (index === 0) continue;
    const [from, low] = stops[index - 1] as readonly [number, number];
    for (let row = from; row < to; row += 1) table[row] = low + ((high - low) * (row - from)) / (to - from);
  }
  table[ROWS] = 360;
  return table;
}

interface Corner {
  readonly rgb: Triple;
  readonly hue: number;
}

/** The cube's corners in order of hue, the last before the first and the first after the last. */
function cornersAround(limit: ConeSet, white: number): readonly Corner[] {
  const corners = CORNERS.map((corner) => {
    const rgb = times(corner, white);
    return { rgb, hue: hueOf(appearanceOf(limit, rgb, newAppearance())) };
  }).toSorted((a, b) => a.hue - b.hue);
  const [first, last] = [corners[0] as Corner, corners[5] as Corner];
  return [{ ...last, hue: last.hue - 360 }, ...corners, { ...first, hue: first.hue + 360 }];
}

/** The most colourful colour of the cube at a hue lies on the edge between two corners. */
function cuspAt(limit: ConeSet, corners: readonly Corner[], hue: number): Appearance {
  const next = corners.findIndex((corner) => corner.hue > hue);
  const [from, to] = [corners[next - 1] as Corner, corners[next] as Corner];
  const colour = newAppearance();
  const blend = (part: number): Appearance =>
    appearanceOf(
      limit,
      [0, 1, 2].map(
        (channel) => at(from.rgb, channel) + (at(to.rgb, channel) - at(from.rgb, channel)) * part,
      ) as unknown as Triple,
      colour,
    );
  // Counted from the first corner on, so that 360 lies nowhere between.
  const along = (degrees: number): number => (((degrees - from.hue) % 360) + 360) % 360;
  const wanted = along(hue);
  const width = to.hue - from.hue;
  const [low, high] = bisect(0, 1, 1e-7, (part) => {
    const found = along(hueOf(blend(part)));
    // Just short of the first corner.
    return found <= width + 1e-6 && found > wanted;
  });
  return { ...blend((low + high) / 2) };
}

/** Where the approximated hull is tried, between the cusp and the peak. */
const TRIED: readonly number[] = [0.01, 0.1, 0.5, 0.8, 0.99];

/** 1/γ of the upper hull: the smallest γ with which it lies outside of the cube. */
function upperPowerAt(
  limit: ConeSet,
  hull: Hull,
  cusp: { readonly lightness: number; readonly colourfulness: number; readonly hue: number },
  white: number,
): number {
  const colour = withHue(newAppearance(), cusp.hue);
  const rgb: [number, number, number] = [0, 0, 0];
  const outside = (gamma: number): boolean => {
    const hue: HueHull = {
      cuspLightness: cusp.lightness,
      cuspColourfulness: cusp.colourfulness,
      upperPower: 1 / gamma,
      reach: 0,
    };
    return TRIED.every((part) => {
      const lightness = cusp.lightness + (hull.most - cusp.lightness) * part;
      const { axis, slope, edge } = lineThrough(hull, hue, lightness, cusp.colourfulness);
      colour.lightness = axis + slope * edge;
      colour.colourfulness = edge;
      rgbOf(limit, colour, rgb);
      return rgb[0] > white || rgb[1] > white || rgb[2] > white;
    });
  };
  let [low, high] = [0, 0.4];
  while (!outside(high) && high < 5) [low, high] = [high, high + 0.4];
  return 1 / bisect(low, high, 1e-5, outside)[1];
}

export function tablesOf(limit: ConeSet, hull: Hull, peak: number, forwardLimit: number): Tables {
  const white = peak / 100;
  const ap1 = coneSet(gamuts.ap1);
  const corners = cornersAround(limit, white);
  const hue = hueTable(
    [...corners.slice(1, 7).map((corner) => corner.hue), ...reachCornerHues(ap1, hull, forwardLimit)].sort(
      (a, b) => a - b,
    ),
  );
  const cuspLightness = new Float64Array(ROWS + 1);
  const cuspColourfulness = new Float64Array(ROWS + 1);
  const upperPower = new Float64Array(ROWS + 1);
  for (let row = 0; row < ROWS; row += 1) {
    const degrees = at(hue, row);
    const { lightness, colourfulness } = cuspAt(limit, corners, degrees);
    const cusp = { lightness, colourfulness: colourfulness * CUSP_MARGIN, hue: degrees };
    cuspLightness[row] = cusp.lightness;
    cuspColourfulness[row] = cusp.colourfulness;
    upperPower[row] = upperPowerAt(limit, hull, cusp, white);
  }
  for (const table of [cuspLightness, cuspColourfulness, upperPower]) table[ROWS] = at(table, 0);
  return { reach: reachTable(ap1, hull.most), hue, cuspLightness, cuspColourfulness, upperPower };
}

/** Straight between whole degrees. */
export function reachAt({ reach }: Tables, degrees: number): number {
  const below = Math.min(Math.floor(degrees), ROWS - 1);
  return at(reach, below) + (at(reach, below + 1) - at(reach, below)) * (degrees - below);
}

/** Straight between the two rows about the hue, of which the one of its whole degree is never far. */
export function hullAt(
  tables: Tables,
  degrees: number,
  into: { -readonly [name in keyof HueHull]: number },
): void {
  const { hue, cuspLightness, cuspColourfulness, upperPower } = tables;
  let row = Math.min(Math.floor(degrees), ROWS - 1);
  while (row > 0 && at(hue, row) > degrees) row -= 1;
  while (row < ROWS - 1 && at(hue, row + 1) <= degrees) row += 1;
  const part = (degrees - at(hue, row)) / (at(hue, row + 1) - at(hue, row));
  const between = (table: Float64Array): number =>
    at(table, row) + (at(table, row + 1) - at(table, row)) * part;
  into.cuspLightness = between(cuspLightness);
  into.cuspColourfulness = between(cuspColourfulness);
  into.upperPower = between(upperPower);
  into.reach = reachAt(tables, degrees);
}
