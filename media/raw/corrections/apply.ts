/**
 * Corrections of raw frames on a thread's memory, line by line (DNG specification, chapter 7). The reference, pixel by pixel in double precision, is
 * reference.ts; neither knows the other.
 */
import type { Samples } from '../../formats/dng/decode.ts';
import type { Bounds, Correction, GainMap, Reach, WarpPlane } from '../../formats/dng/opcodes.ts';
import type { Placed } from './which.ts';

/** Lines of one plane of a picture. */
export interface Lines {
  readonly values: Float32Array;
  /** Values from line to line. */
  readonly stride: number;
  /** Where the first value lies, in pixels of the active area. */
  readonly top: number;
  readonly left: number;
  readonly width: number;
  readonly height: number;
}

/** Lines and columns of an area, each so many apart, as far as they lie in `lines`: in pixels of the active area. */
function span(
  { from, to, pitch }: { readonly from: number; readonly to: number; readonly pitch: number },
  origin: number,
  first: number,
  count: number,
): { readonly start: number; readonly end: number } {
  const area = origin + from;
  const start = area >= first ? area : area + Math.ceil((first - area) / pitch) * pitch;
  return { start, end: Math.min(origin + to, first + count) };
}

/** Calls `row` for every line that a correction reaches, with its line of the list and the place of its first value; `columns` are those of the picture. */
function eachRow(
  lines: Lines,
  reach: Reach,
  bounds: Bounds,
  row: (line: {
    readonly y: number;
    readonly at: number;
    readonly x: number;
    readonly count: number;
    readonly step: number;
  }) => void,
): void {
  const down = span(
    { from: reach.top, to: Math.min(reach.bottom, bounds.height), pitch: reach.rowPitch },
    bounds.top,
    lines.top,
    lines.height,
  );
  const across = span(
    { from: reach.left, to: Math.min(reach.right, bounds.width), pitch: reach.columnPitch },
    bounds.left,
    lines.left,
    lines.width,
  );
  const count = Math.ceil((across.end - across.start) / reach.columnPitch);
  if (count <= 0) return;
  for (let y = down.start; y < down.end; y += reach.rowPitch)
    row({
      y: y - bounds.top,
      at: (y - lines.top) * lines.stride + across.start - lines.left,
      x: across.start - bounds.left,
      count,
      step: reach.columnPitch,
    });
}

interface Between {
  readonly before: number;
  readonly part: number;
}

/** Points of a map one way: how many, and where, as parts of the picture's size. */
interface Axis {
  readonly size: number;
  readonly origin: number;
  readonly spacing: number;
  readonly points: number;
}

/** Between which points of a map a pixel lies; at its ends the last one goes on. */
function between(pixel: number, { size, origin, spacing, points }: Axis): Between {
  const at = points === 1 ? 0 : ((pixel + 0.5) / size - origin) / spacing;
  if (at <= 0 || points === 1) return { before: 0, part: 0 };
  if (at >= points - 1) return { before: points - 2, part: 1 };
  const before = Math.floor(at);
  return { before, part: at - before };
}

/** The straight line that a pixel lies on between two points of a map, and the pixel (not whole) where it ends; outside all points it is level. */
function segment(
  pixel: number,
  points: Float64Array,
  axis: Axis,
): { readonly low: number; readonly slope: number; readonly part: number; readonly until: number } {
  const last = points.length - 1;
  const at = last === 0 ? 0 : ((pixel + 0.5) / axis.size - axis.origin) / axis.spacing;
  const pixelOf = (point: number): number => (axis.origin + point * axis.spacing) * axis.size - 0.5;
  if (last === 0 || at >= last)
    return { low: points[last] as number, slope: 0, part: 0, until: Number.POSITIVE_INFINITY };
  if (at < 0) return { low: points[0] as number, slope: 0, part: 0, until: pixelOf(0) };
  const before = Math.floor(at);
  const low = points[before] as number;
  return { low, slope: (points[before + 1] as number) - low, part: at - before, until: pixelOf(before + 1) };
}

function gainMap(
  lines: Lines,
  plane: number,
  { reach, map }: { reach: Reach; map: GainMap },
  bounds: Bounds,
): void {
  const { rows, columns, planes, gains, origin, spacing } = map;
  const of = Math.min(plane - reach.plane, planes - 1);
  const gain = (row: number, column: number): number =>
    gains[(Math.min(row, rows - 1) * columns + Math.min(column, columns - 1)) * planes + of] as number;
  const points = new Float64Array(columns);
  const down = { size: bounds.height, origin: origin.down, spacing: spacing.down, points: rows };
  const across = { size: bounds.width, origin: origin.across, spacing: spacing.across, points: columns };
  const { values } = lines;
  eachRow(lines, reach, bounds, ({ y, at, x, count, step }) => {
    const { before, part } = between(y, down);
    for (let column = 0; column < columns; column += 1)
      points[column] = gain(before, column) + part * (gain(before + 1, column) - gain(before, column));
    for (let index = 0; index < count; ) {
      // From here to the next point of the map the gain goes in a straight line.
      const { low, slope, part, until } = segment(x + index * step, points, across);
      const end = Math.min(count, Math.max(index + 1, Math.ceil((until - x) / step)));
      const perValue = (slope * step) / (across.size * across.spacing);
      let by = low + part * slope;
      for (let value = at + index * step; index < end; index += 1, value += step, by += perValue)
        values[value] = (values[value] as number) * by;
    }
  });
}

function each(lines: Lines, reach: Reach, bounds: Bounds, change: (value: number) => number): void {
  eachRow(lines, reach, bounds, ({ at, count, step }) => {
    for (let index = 0, value = at; index < count; index += 1, value += step)
      lines.values[value] = change(lines.values[value] as number);
  });
}

/** Between entries in a straight line; what the table does not reach takes its last one. */
function tableOf(entries: readonly number[]): (value: number) => number {
  const last = entries.length - 1;
  return (value) => {
    const at = Math.min(Math.max(value * 65_535, 0), last);
    const before = Math.min(Math.floor(at), Math.max(0, last - 1));
    const low = entries[before] as number;
    return (low + (at - before) * ((entries[Math.min(before + 1, last)] as number) - low)) / 65_535;
  };
}

/** Within 0 and 1 the polynomial, beyond them its tangent. */
function polynomialOf(coefficients: readonly number[]): (value: number) => number {
  return (value) => {
    const inside = Math.min(Math.max(value, 0), 1);
    let sum = 0;
    let slope = 0;
    for (let degree = coefficients.length - 1; degree >= 0; degree -= 1) {
      slope = slope * inside + sum;
      sum = sum * inside + (coefficients[degree] as number);
    }
    return sum + slope * (value - inside);
  };
}

function lineValues(
  lines: Lines,
  { reach, along, how, values }: Extract<Correction, { kind: 'line' }>,
  bounds: Bounds,
): void {
  eachRow(lines, reach, bounds, ({ y, at, x, count, step }) => {
    const ofRow = values[Math.round((y - reach.top) / reach.rowPitch)];
    const first = Math.round((x - reach.left) / reach.columnPitch);
    for (let index = 0, place = at; index < count; index += 1, place += step) {
      const by = (along === 'rows' ? ofRow : values[first + index]) as number;
      const value = lines.values[place] as number;
      lines.values[place] = how === 'add' ? value + by : value * by;
    }
  });
}

/** A centre as a part of the picture, and its distance from the farthest corner: both in pixels, of which the last is the size less 1. */
function centreOf(x: number, y: number, { width, height }: Bounds): { cx: number; cy: number; far: number } {
  const [cx, cy] = [x * (width - 1), y * (height - 1)];
  return {
    cx,
    cy,
    far: Math.hypot(Math.max(cx, width - 1 - cx), Math.max(cy, height - 1 - cy)) || 1,
  };
}

function vignette(
  lines: Lines,
  { k, x, y }: Extract<Correction, { kind: 'vignette' }>,
  bounds: Bounds,
): void {
  const { cx, cy, far } = centreOf(x, y, bounds);
  const [k0 = 0, k1 = 0, k2 = 0, k3 = 0, k4 = 0] = k;
  const perPixel = 1 / far ** 2;
  for (let line = 0; line < lines.height; line += 1) {
    const down = lines.top + line - bounds.top - cy;
    let across = lines.left - bounds.left - cx;
    for (let at = line * lines.stride, end = at + lines.width; at < end; at += 1, across += 1) {
      const r2 = (down * down + across * across) * perPixel;
      const gain = 1 + r2 * (k0 + r2 * (k1 + r2 * (k2 + r2 * (k3 + r2 * k4))));
      lines.values[at] = (lines.values[at] as number) * gain;
    }
  }
}

/** One correction of one plane. Bad pixels, trims and warps are not of this kind. */
export function correctLines(lines: Lines, plane: number, { correction, bounds }: Placed): void {
  if (correction.kind === 'vignette') {
    vignette(lines, correction, bounds);
    return;
  }
  if (!('reach' in correction)) return;
  const { reach } = correction;
  if (plane < reach.plane || plane >= reach.plane + reach.planes) return;
  if (correction.kind === 'gain-map') gainMap(lines, plane, correction, bounds);
  else if (correction.kind === 'line') lineValues(lines, correction, bounds);
  else
    each(
      lines,
      reach,
      bounds,
      correction.kind === 'table' ? tableOf(correction.entries) : polynomialOf(correction.coefficients),
    );
}

/** Farther than this nothing is looked for in place of a bad pixel. */
const FARTHEST = 16;

/** A mosaic whose bad pixels are to be filled, and where it begins, in its own pixels. */
export interface MosaicOf {
  readonly values: Samples;
  readonly width: number;
  readonly height: number;
}

function badPixels({ values, width, height }: MosaicOf, correction: Correction): Set<number> {
  const bad = new Set<number>();
  if (correction.kind === 'bad-constant') {
    for (let at = values.indexOf(correction.code); at >= 0; at = values.indexOf(correction.code, at + 1))
      bad.add(at);
  } else if (correction.kind === 'bad-list') {
    for (const [row, column] of correction.points)
      if (row < height && column < width) bad.add(row * width + column);
    for (const area of correction.areas)
      for (let row = area.top; row < Math.min(area.bottom, height); row += 1)
        for (let column = area.left; column < Math.min(area.right, width); column += 1)
          bad.add(row * width + column);
  }
  return bad;
}

/**
 * Bad pixels take the mean of good pixels of their colour (what is to be taken the specification leaves open): the two beside or the two
 * above and below, whichever differ less, two pixels away or the next two, and so on. Where no two lie across from each other, the good ones of the four.
 */
export function fillBadPixels(mosaic: MosaicOf, correction: Correction): void {
  const { values, width, height } = mosaic;
  const bad = badPixels(mosaic, correction);
  const filled = new Map<number, number>();
  for (const at of bad) {
    const [row, column] = [Math.floor(at / width), at % width];
    for (let away = 2; away <= FARTHEST; away += 2) {
      const good = (y: number, x: number): number | null =>
        y < 0 || x < 0 || y >= height || x >= width || bad.has(y * width + x)
          ? null
          : (values[y * width + x] as number);
      const [left, right] = [good(row, column - away), good(row, column + away)];
      const [above, below] = [good(row - away, column), good(row + away, column)];
      const across = left === null || right === null ? null : Math.abs(left - right);
      const down = above === null || below === null ? null : Math.abs(above - below);
      const taken =
        across !== null && (down === null || across < down)
          ? [left, right]
          : down !== null && (across === null || down < across)
            ? [above, below]
            : [left, right, above, below];
      const there = taken.filter((value): value is number => value !== null);
      if (there.length === 0) continue;
      const mean = there.reduce((sum, value) => sum + value, 0) / there.length;
      filled.set(at, values instanceof Uint16Array ? Math.round(mean) : mean);
      break;
    }
  }
  // No filled pixel is taken for another.
  for (const [at, value] of filled) values[at] = value;
}

/** What the kernel warps a plane by (media/kernels/assembly/warp.ts), in its order. */
export function warpFactors(plane: WarpPlane, x: number, y: number, bounds: Bounds): number[] {
  const { cx, cy, far } = centreOf(x, y, bounds);
  return [cx, cy, far, ...plane];
}
