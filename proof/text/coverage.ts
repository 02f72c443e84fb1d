/**
 * How much of each pixel the outline of a glyph covers: exact areas of the polygon that its curves are flattened to, of both signs, so that holes are
 * what they are by the direction of their contours. Where contours overlap a pixel is covered once (the non-zero rule, for whole pixels).
 */
import type { Contour, OutlinePoint } from './font.ts';

/** Of a glyph in its own pixels: `left` and `top` of the first one from the pen, downwards. 0 to 1. */
export interface Coverage {
  readonly left: number;
  readonly top: number;
  readonly width: number;
  readonly height: number;
  readonly values: Float32Array;
}

interface XY {
  readonly x: number;
  readonly y: number;
}

/** Lines that a quadratic curve becomes: at 100 pixels an em their error is far below a hundredth of a pixel. */
const STEPS = 16;

const middle = (a: XY, b: XY): XY => ({ x: (a.x + b.x) / 2, y: (a.y + b.y) / 2 });

/** The corners of a contour; between two points off the curve lies one on it (Apple TrueType Reference Manual, "Digitizing letterform designs"). */
function corners(contour: Contour, scale: number): XY[] {
  const points = contour
    .map(({ x, y, on }): OutlinePoint => ({ x: scale * x, y: -scale * y, on }))
    .flatMap((point, index, all): OutlinePoint[] => {
      const next = all[(index + 1) % all.length] as OutlinePoint;
      return point.on || next.on ? [point] : [point, { ...middle(point, next), on: true }];
    });
  const start = points.findIndex(({ on }) => on);
  if (start < 0) return [];
  const round = [...points.slice(start), ...points.slice(0, start), points[start] as OutlinePoint];
  const out: XY[] = [];
  for (const [index, point] of round.entries()) {
    if (point.on) out.push(point);
    else out.push(...curve(round[index - 1] as XY, point, round[index + 1] as XY));
  }
  return out;
}

/** Between its ends. */
const curve = (from: XY, control: XY, to: XY): XY[] =>
  Array.from({ length: STEPS - 1 }, (_, step) => {
    const t = (step + 1) / STEPS;
    const s = 1 - t;
    return {
      x: s * s * from.x + 2 * s * t * control.x + t * t * to.x,
      y: s * s * from.y + 2 * s * t * control.y + t * t * to.y,
    };
  });

/** Adds the signed area between a line and the right edge, row by row; sums along a row are then what is covered. */
function addLine(sums: Float64Array, stride: number, height: number, [a, b]: readonly [XY, XY]): void {
  if (a.y === b.y) return;
  const direction = a.y < b.y ? 1 : -1;
  const [upper, lower] = a.y < b.y ? [a, b] : [b, a];
  const slope = (lower.x - upper.x) / (lower.y - upper.y);
  for (let row = Math.max(0, Math.floor(upper.y)); row < Math.min(height, Math.ceil(lower.y)); row += 1) {
    const from = Math.max(row, upper.y);
    const to = Math.min(row + 1, lower.y);
    const deep = direction * (to - from);
    if (to <= from) continue;
    const one = upper.x + slope * (from - upper.y);
    const other = upper.x + slope * (to - upper.y);
    const [left, right] = one < other ? [one, other] : [other, one];
    const begin = Math.floor(left);
    const end = Math.max(begin + 1, Math.ceil(right));
    const base = row * stride;
    /** Of the pixel, what lies to the right of the line: 1 minus the mean of where it crosses. */
    let before = 0;
    for (let column = begin; column < end; column += 1) {
      const covered = rightOf(left, right, column);
      sums[base + column] = (sums[base + column] as number) + deep * (covered - before);
      before = covered;
    }
    sums[base + end] = (sums[base + end] as number) + deep * (1 - before);
  }
}

/** Mean over a line from `left` to `right` of the part of pixel `column` to the right of it. */
function rightOf(left: number, right: number, column: number): number {
  if (right - left < 1e-12) return Math.min(1, Math.max(0, column + 1 - left));
  /** Integral of min(1, max(0, column + 1 - x)) from -infinity-like to x. */
  const integral = (x: number): number => {
    const over = x - column;
    if (over <= 0) return over;
    if (over >= 1) return 0.5;
    return over - (over * over) / 2;
  };
  return (integral(right) - integral(left)) / (right - left);
}

/** `size`: pixels an em; the pen is at 0, 0, on the base line. */
export function coverageOf(contours: readonly Contour[], size: number, unitsPerEm: number): Coverage {
  const polygons = contours.map((contour) => corners(contour, size / unitsPerEm));
  const all = polygons.flat();
  if (all.length === 0) return { left: 0, top: 0, width: 0, height: 0, values: new Float32Array(0) };
  const left = Math.floor(all.reduce((least, { x }) => Math.min(least, x), Number.POSITIVE_INFINITY));
  const top = Math.floor(all.reduce((least, { y }) => Math.min(least, y), Number.POSITIVE_INFINITY));
  const right = Math.ceil(all.reduce((most, { x }) => Math.max(most, x), Number.NEGATIVE_INFINITY));
  const bottom = Math.ceil(all.reduce((most, { y }) => Math.max(most, y), Number.NEGATIVE_INFINITY));
  const [width, height] = [right - left, bottom - top];
  const stride = width + 2;
  const sums = new Float64Array(stride * height);
  for (const polygon of polygons) {
    const placed = polygon.map(({ x, y }) => ({ x: x - left, y: y - top }));
    for (const [index, point] of placed.entries())
      addLine(sums, stride, height, [point, placed[(index + 1) % placed.length] as XY]);
  }
  const values = new Float32Array(width * height);
  for (let row = 0; row < height; row += 1) {
    let sum = 0;
    for (let column = 0; column < width; column += 1) {
      sum += sums[row * stride + column] as number;
      values[row * width + column] = Math.min(1, Math.abs(sum));
    }
  }
  return { left, top, width, height, values };
}
