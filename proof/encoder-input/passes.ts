/** The scaler's two passes over a part of a plane, in double precision, and what it limits between them. */
import type { Axis } from './kernel.ts';
import type { SamplePlane } from './samples.ts';

/** Samples of a plane from `x`, `y` on; NaN where they cannot be known from what was at hand. */
export interface Part extends SamplePlane {
  readonly x: number;
  readonly y: number;
  readonly values: Float64Array;
}
export interface Area {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
}
export interface Axes {
  readonly across: Axis;
  readonly down: Axis;
}

/** What becomes of a value between the passes: nothing is above `most`; then it is taken to the range that is asked for. Codes of 8 bits with their fractions. */
export interface Between {
  readonly most: number;
  readonly gain: number;
  readonly offset: number;
}

/** What lies beyond by no more is rounding, or was limited a step before already: codes of 8 bits. */
export const LIMITED = 1;

/** Values that had to be limited, where, and by how much the farthest was beyond: codes of 8 bits. */
export interface Limits {
  /** Between the scaler's passes, of R'G'B' on the way to another matrix, and in the codes of the encoder. */
  between: number;
  colours: number;
  codes: number;
  farthest: number;
}
export const noLimits = (): Limits => ({ between: 0, colours: 0, codes: 0, farthest: 0 });

export function addLimits(into: Limits, { between, colours, codes, farthest }: Limits): void {
  into.between += between;
  into.colours += colours;
  into.codes += codes;
  into.farthest = Math.max(into.farthest, farthest);
}

interface Lines {
  readonly from: number;
  readonly to: number;
}

/** Values limited, wherever. */
export const limitedIn = ({ between, colours, codes }: Limits): number => between + colours + codes;

/** Lines between the passes, used again: whole frames would make megabytes anew for every band. */
let keptLines = new Float64Array(0);
function linesFor(length: number): Float64Array {
  if (keptLines.length < length) keptLines = new Float64Array(length);
  return keptLines.subarray(0, length);
}

/** Each line by itself, in memory that is used again; of the part only the lines that any sample takes. */
function acrossLines(
  { x: left, width, values }: Part,
  { first, begins, weights, same }: Axis,
  { x, width: made }: Area,
  { from, to }: Lines,
): Float64Array {
  const lines = linesFor(made * (to - from));
  for (let line = from; line < to; line += 1) {
    const into = (line - from) * made;
    const row = line * width;
    if (same && x >= left && x + made <= left + width) {
      lines.set(values.subarray(row + x - left, row + x - left + made), into);
      continue;
    }
    for (let column = 0; column < made; column += 1) {
      const at = x + column;
      const begin = begins[at] as number;
      const taps = (begins[at + 1] as number) - begin;
      const place = (first[at] as number) - left;
      let sum = Number.NaN;
      if (place >= 0 && place + taps <= width) {
        if (same) sum = values[row + place] as number;
        else {
          sum = 0;
          for (let tap = 0; tap < taps; tap += 1)
            sum += (weights[begin + tap] as number) * (values[row + place + tap] as number);
        }
      }
      lines[into + column] = sum;
    }
  }
  return lines;
}

function limit(values: Float64Array, { most, gain, offset }: Between, limits: Limits): void {
  for (let at = 0; at < values.length; at += 1) {
    let value = values[at] as number;
    if (value > most) {
      noteBeyond(limits, value - most);
      value = most;
    }
    values[at] = value * gain + offset;
  }
}

/** Both passes where each sample is the source's own: what is between them, and nothing else. */
function asItIs(
  part: Part,
  { x, y, width, height }: Area,
  { most, gain, offset }: Between,
  limits: Limits,
): Part {
  const values = new Float64Array(width * height);
  for (let line = 0; line < height; line += 1) {
    const from = (y + line - part.y) * part.width + x - part.x;
    const into = line * width;
    for (let column = 0; column < width; column += 1) {
      let value = part.values[from + column] as number;
      if (value > most) {
        noteBeyond(limits, value - most);
        value = most;
      }
      values[into + column] = value * gain + offset;
    }
  }
  return { x, y, width, height, values };
}

function noteBeyond(limits: Limits, beyond: number): void {
  if (beyond <= LIMITED) return;
  limits.between += 1;
  if (beyond > limits.farthest) limits.farthest = beyond;
}

const isWithin = (part: Part, { x, y, width, height }: Area): boolean =>
  x >= part.x && y >= part.y && x + width <= part.x + part.width && y + height <= part.y + part.height;

export function resampled(
  part: Part,
  { across, down }: Axes,
  area: Area,
  { between, limits }: { readonly between: Between; readonly limits: Limits },
): Part {
  if (across.same && down.same && isWithin(part, area)) return asItIs(part, area, between, limits);
  const { x, y, width, height } = area;
  const end = y + height - 1;
  const from = Math.max(0, (down.first[y] as number) - part.y);
  const to = Math.min(
    part.height,
    (down.first[end] as number) + (down.begins[end + 1] as number) - (down.begins[end] as number) - part.y,
  );
  const lines = acrossLines(part, across, area, { from, to: Math.max(from, to) });
  limit(lines, between, limits);
  const values = new Float64Array(width * height);
  for (let line = 0; line < height; line += 1) {
    const begin = down.begins[y + line] as number;
    const taps = (down.begins[y + line + 1] as number) - begin;
    const first = (down.first[y + line] as number) - part.y;
    const row = values.subarray(line * width, (line + 1) * width);
    if (first < from || first + taps > to) {
      row.fill(Number.NaN);
      continue;
    }
    if (down.same) {
      row.set(lines.subarray((first - from) * width, (first - from + 1) * width));
      continue;
    }
    for (let tap = 0; tap < taps; tap += 1) {
      const weight = down.weights[begin + tap] as number;
      const start = (first + tap - from) * width;
      for (let column = 0; column < width; column += 1)
        row[column] = (row[column] as number) + weight * (lines[start + column] as number);
    }
  }
  return { x, y, width, height, values };
}
