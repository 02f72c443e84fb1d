/**
 * Corrections of raw frames, one pixel at a time in double precision, from the formulas of the DNG specification (chapter 7). What the checker holds
 * masters against; the makers' code is apply.ts, and neither knows the other.
 */
import type { Samples } from '../../formats/dng/decode.ts';
import type { Correction, Reach } from '../../formats/dng/opcodes.ts';
import type { Triple } from '../develop/matrix.ts';
import type { Placed } from './which.ts';

/** A sample of the active area and where it lies; `plane` 0 in a mosaic. */
export interface Sample {
  readonly value: number;
  readonly row: number;
  readonly column: number;
  readonly plane: number;
}

function within(reach: Reach, row: number, column: number, plane: number): boolean {
  const inside = row >= reach.top && row < reach.bottom && column >= reach.left && column < reach.right;
  const onRow = (row - reach.top) % reach.rowPitch === 0;
  const onColumn = (column - reach.left) % reach.columnPitch === 0;
  const ofPlane = plane >= reach.plane && plane < reach.plane + reach.planes;
  return inside && onRow && onColumn && ofPlane;
}

/** Radius of a pixel from a centre, where the farthest corner pixel is 1 away. */
function radiusOf(
  { x, y }: { readonly x: number; readonly y: number },
  width: number,
  height: number,
): {
  readonly of: (row: number, column: number) => number;
  readonly cx: number;
  readonly cy: number;
  readonly m: number;
} {
  const [x1, y1] = [width - 1, height - 1];
  const [cx, cy] = [x * x1, y * y1];
  const mx = Math.max(Math.abs(0 - cx), Math.abs(x1 - cx));
  const my = Math.max(Math.abs(0 - cy), Math.abs(y1 - cy));
  const m = Math.sqrt(mx ** 2 + my ** 2);
  return {
    of: (row, column) => Math.sqrt((column - cx) ** 2 + (row - cy) ** 2) / (m > 0 ? m : 1),
    cx,
    cy,
    m,
  };
}

/** Bilinear in the map's own coordinates, held at its ends. */
function gainAt(
  { reach, map }: Extract<Correction, { kind: 'gain-map' }>,
  { row, column, plane }: Omit<Sample, 'value'>,
  { width, height }: { readonly width: number; readonly height: number },
): number {
  const place = (relative: number, origin: number, spacing: number, points: number): number =>
    points === 1 ? 0 : Math.min(Math.max((relative - origin) / spacing, 0), points - 1);
  const v = place((row + 0.5) / height, map.origin.down, map.spacing.down, map.rows);
  const h = place((column + 0.5) / width, map.origin.across, map.spacing.across, map.columns);
  let gain = 0;
  for (const point of [Math.floor(v), Math.floor(v) + 1])
    for (const beside of [Math.floor(h), Math.floor(h) + 1]) {
      const weight = Math.max(0, 1 - Math.abs(v - point)) * Math.max(0, 1 - Math.abs(h - beside));
      if (weight === 0) continue;
      const index =
        (point * map.columns + beside) * map.planes + Math.min(plane - reach.plane, map.planes - 1);
      gain += weight * (map.gains[index] as number);
    }
  return gain;
}

/** 16-bit entries over 0 to 1, straight between them. */
function mapped(entries: readonly number[], value: number): number {
  const at = Math.min(Math.max(65_535 * value, 0), entries.length - 1);
  const [low, high] = [Math.floor(at), Math.ceil(at)];
  const part = at - low;
  return ((1 - part) * (entries[low] as number) + part * (entries[high] as number)) / 65_535;
}

/** Its tangent outside 0 and 1. */
function polynomial(coefficients: readonly number[], value: number): number {
  const x = Math.min(1, Math.max(0, value));
  const at = coefficients.reduce((sum, c, degree) => sum + c * x ** degree, 0);
  const slope = coefficients.reduce(
    (sum, c, degree) => (degree === 0 ? 0 : sum + degree * c * x ** (degree - 1)),
    0,
  );
  return at + slope * (value - x);
}

/** What a sample is behind one correction; of bad pixels and warps, which take other samples as well, nothing is said here. */
export function correctedSample({ correction, bounds }: Placed, sample: Sample): number {
  const [row, column] = [sample.row - bounds.top, sample.column - bounds.left];
  const { value, plane } = sample;
  if (correction.kind === 'vignette') {
    const r = radiusOf(correction, bounds.width, bounds.height).of(row, column);
    return value * correction.k.reduce((gain, k, index) => gain + k * r ** (2 * (index + 1)), 1);
  }
  if (!('reach' in correction) || !within(correction.reach, row, column, plane)) return value;
  switch (correction.kind) {
    case 'gain-map':
      return value * gainAt(correction, { row, column, plane }, bounds);
    case 'table':
      return mapped(correction.entries, value);
    case 'polynomial':
      return polynomial(correction.coefficients, value);
    case 'line': {
      const { reach, along, how, values } = correction;
      const index =
        along === 'rows' ? (row - reach.top) / reach.rowPitch : (column - reach.left) / reach.columnPitch;
      return how === 'add' ? value + (values[index] as number) : value * (values[index] as number);
    }
  }
}

/** Where in the picture (row and column, not whole) what a warped pixel shows comes from. */
export function warpedFrom(
  { correction, bounds }: Placed,
  plane: number,
  row: number,
  column: number,
): { readonly row: number; readonly column: number } {
  if (correction.kind !== 'warp') return { row, column };
  const coefficients = correction.planes[Math.min(plane, correction.planes.length - 1)];
  if (coefficients === undefined) throw new RangeError('a warp of no plane');
  const [kr0, kr1, kr2, kr3, kt0, kt1] = coefficients;
  const { cx, cy, m } = radiusOf(correction, bounds.width, bounds.height);
  if (m === 0) return { row, column };
  const [dx, dy] = [(column - bounds.left - cx) / m, (row - bounds.top - cy) / m];
  const r2 = dx ** 2 + dy ** 2;
  const f = kr0 + kr1 * r2 + kr2 * r2 ** 2 + kr3 * r2 ** 3;
  const tangentialX = kt0 * (2 * dx * dy) + kt1 * (r2 + 2 * dx ** 2);
  const tangentialY = kt1 * (2 * dx * dy) + kt0 * (r2 + 2 * dy ** 2);
  return {
    row: bounds.top + cy + m * (f * dy + tangentialY),
    column: bounds.left + cx + m * (f * dx + tangentialX),
  };
}

/** Keys' kernel, a = -1/2. */
function keys(distance: number): number {
  const d = Math.abs(distance);
  if (d < 1) return 1.5 * d ** 3 - 2.5 * d ** 2 + 1;
  return d < 2 ? -0.5 * d ** 3 + 2.5 * d ** 2 - 4 * d + 2 : 0;
}

/** The picture at a place between pixels; `at` is asked inside the bounds alone. */
export function resampled(
  at: (row: number, column: number) => number,
  { row, column }: { readonly row: number; readonly column: number },
  { bounds: { top, left, width, height } }: Placed,
): number {
  let sum = 0;
  for (let y = Math.ceil(row) - 2; y <= Math.floor(row) + 2; y += 1)
    for (let x = Math.ceil(column) - 2; x <= Math.floor(column) + 2; x += 1) {
      const weight = keys(row - y) * keys(column - x);
      if (weight !== 0)
        sum +=
          weight *
          at(Math.min(Math.max(y, top), top + height - 1), Math.min(Math.max(x, left), left + width - 1));
    }
  return sum;
}

/**
 * A mosaic behind the filling of its bad pixels: good ones as they are; a bad one becomes the mean of the nearest two good ones of its colour that lie
 * across from each other and differ least (both pairs, where they differ alike), or, where there is no such pair, of those that are good.
 */
export function filledMosaic<Values extends Samples | Float64Array>(
  values: Values,
  { width, height }: { readonly width: number; readonly height: number },
  correction: Correction,
): Values {
  const isBad = badIn(correction, width);
  const isWhole = values instanceof Uint16Array;
  const out = values.slice() as Values;
  const good = (row: number, column: number): number[] => {
    if (row < 0 || row >= height || column < 0 || column >= width) return [];
    const code = values[row * width + column] as number;
    return isBad(code, row, column) ? [] : [code];
  };
  const difference = ([a = 0, b = 0]: readonly number[]): number => Math.abs(a - b);
  for (let at = 0; at < values.length; at += 1) {
    const [row, column] = [Math.floor(at / width), at % width];
    if (!isBad(values[at] as number, row, column)) continue;
    for (let away = 2; away <= 16; away += 2) {
      const inRow = [...good(row, column - away), ...good(row, column + away)];
      const inColumn = [...good(row - away, column), ...good(row + away, column)];
      const pairs = [inRow, inColumn].filter((pair) => pair.length === 2);
      const least = Math.min(...pairs.map(difference));
      const taken =
        pairs.length > 0
          ? pairs.filter((pair) => difference(pair) === least).flat()
          : [...inRow, ...inColumn];
      if (taken.length === 0) continue;
      const mean = taken.reduce((sum, value) => sum + value, 0) / taken.length;
      out[at] = isWhole ? Math.round(mean) : mean;
      break;
    }
  }
  return out;
}

/** Whether a pixel of a mosaic is bad. */
function badIn(
  correction: Correction,
  width: number,
): (code: number, row: number, column: number) => boolean {
  if (correction.kind === 'bad-constant') return (code) => code === correction.code;
  if (correction.kind !== 'bad-list') return () => false;
  const points = new Set(
    correction.points.flatMap(([row, column]) => (column < width ? [row * width + column] : [])),
  );
  return (_, row, column) =>
    points.has(row * width + column) ||
    correction.areas.some(
      ({ top, left, bottom, right }) => row >= top && row < bottom && column >= left && column < right,
    );
}

/** All corrections of a list that say what a sample is from its own value alone, one behind the other. */
export const correctedBy = (corrections: readonly Placed[], sample: Sample): number =>
  corrections.reduce((value, one) => correctedSample(one, { ...sample, value }), sample.value);

/** The same for three planes. */
export const correctedPixel = (
  corrections: readonly Placed[],
  [r, g, b]: Triple,
  row: number,
  column: number,
): Triple => [
  correctedBy(corrections, { value: r, row, column, plane: 0 }),
  correctedBy(corrections, { value: g, row, column, plane: 1 }),
  correctedBy(corrections, { value: b, row, column, plane: 2 }),
];
