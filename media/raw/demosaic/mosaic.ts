/** A Bayer mosaic, which colour lies where, and how it goes on beyond its edges. References of the kernels, in double precision and written to be read. */
import type { CfaPattern } from '../../formats/dng/kinds.ts';

export interface Mosaic {
  /** Linear sensor values, line by line. */
  readonly values: Float64Array;
  /** Two or more each: less has not every colour. */
  readonly width: number;
  readonly height: number;
  readonly pattern: CfaPattern;
}

/** Red, green and blue of every pixel, line by line. */
export interface Pixels {
  readonly r: Float64Array;
  readonly g: Float64Array;
  readonly b: Float64Array;
}

/** 0 red, 1 green, 2 blue. */
export type Channel = 0 | 1 | 2;

/** Where red lies in the pattern's two rows and columns. */
export const redAt: Readonly<Record<CfaPattern, { readonly row: 0 | 1; readonly column: 0 | 1 }>> = {
  rggb: { row: 0, column: 0 },
  grbg: { row: 0, column: 1 },
  gbrg: { row: 1, column: 0 },
  bggr: { row: 1, column: 1 },
};

export function channelAt(pattern: CfaPattern, row: number, column: number): Channel {
  const red = redAt[pattern];
  const onRow = (row - red.row) % 2 === 0;
  const onColumn = (column - red.column) % 2 === 0;
  return onRow === onColumn ? (onRow ? 0 : 2) : 1;
}

/** Beyond an edge the picture goes on as in a mirror that stands on its last sample, so that every colour stays in its place; as often as needed. */
export function mirrored(index: number, count: number): number {
  const period = 2 * (count - 1);
  const at = ((index % period) + period) % period;
  return at < count ? at : period - at;
}

/** Values with lines around them, readable from -margin to count + margin - 1 in both directions. */
export type Read = (row: number, column: number) => number;

/** A picture of `width` by `height` and `margin` around it, each pixel computed once; reading further out is a RangeError. */
export function computed(
  { width, height }: { readonly width: number; readonly height: number },
  margin: number,
  value: Read,
): Read {
  const across = width + 2 * margin;
  const values = new Float64Array(across * (height + 2 * margin));
  for (let row = -margin; row < height + margin; row += 1)
    for (let column = -margin; column < width + margin; column += 1)
      values[(row + margin) * across + column + margin] = value(row, column);
  return (row, column) => {
    if (row < -margin || column < -margin || row >= height + margin || column >= width + margin)
      throw new RangeError(`${row} ${column} beyond a margin of ${margin}`);
    return values[(row + margin) * across + column + margin] as number;
  };
}

export const readMosaic =
  ({ values, width, height }: Mosaic): Read =>
  (row, column) =>
    values[mirrored(row, height) * width + mirrored(column, width)] as number;

/** Every pixel of the picture by what a method says of it. */
export function pixelsOf(
  { width, height }: Mosaic,
  value: (row: number, column: number) => readonly [number, number, number],
): Pixels {
  const pixels: Pixels = {
    r: new Float64Array(width * height),
    g: new Float64Array(width * height),
    b: new Float64Array(width * height),
  };
  for (let row = 0; row < height; row += 1) {
    for (let column = 0; column < width; column += 1) {
      const at = row * width + column;
      [pixels.r[at], pixels.g[at], pixels.b[at]] = value(row, column);
    }
  }
  return pixels;
}
