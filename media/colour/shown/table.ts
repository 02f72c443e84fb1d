/** A colour way as a table in space: what the pictures go through, a cache of the exact way (way.ts) that is made of it and of nothing else. */
import { createHash } from 'node:crypto';
import type { Triple } from '../matrix.ts';
import type { Showing } from './way.ts';

/** Places along each side. */
export const TABLE_SIZE = 65;
/** Codes of 14 bits: what the scaler takes for white (255 of 256 parts), and the greatest. */
const SCALER_WHITE = 255 * 64;
const GREATEST = 2 ** 14 - 1;
/** What the greatest code of the scaler's R'G'B' means: they go a little beyond white. */
export const SCALED_END = GREATEST / SCALER_WHITE;

export interface WayTable {
  readonly size: number;
  /** R, G, B of each place, red fastest; 0 to 1. */
  readonly values: Float32Array;
}

/** `end`: R'G'B' of the last place; of the first they are 0. */
export function bakeTable(showing: Showing, end: number, size: number = TABLE_SIZE): WayTable {
  const values = new Float32Array(3 * size ** 3);
  const place = (at: number): number => (at * end) / (size - 1);
  let into = 0;
  for (let blue = 0; blue < size; blue += 1)
    for (let green = 0; green < size; green += 1)
      for (let red = 0; red < size; red += 1) {
        const shown: Triple = showing([place(red), place(green), place(blue)]);
        for (const value of shown) values[into++] = Math.min(Math.max(value, 0), 1);
      }
  return { size, values };
}

/** In the form of a .cube file; every number is read back as it is. */
export function cubeText({ size, values }: WayTable): string {
  const lines = [`LUT_3D_SIZE ${size}`];
  for (let at = 0; at < values.length; at += 3)
    lines.push(`${text(values[at])} ${text(values[at + 1])} ${text(values[at + 2])}`);
  return `${lines.join('\n')}\n`;
}
/** Nine digits bring every 32-bit float back (IEEE 754, clause 5.12.2). */
const text = (value: number | undefined): string => Number((value as number).toPrecision(9)).toString();

/** SHA-256 of its text: what a table is named by. */
export const tableDigest = (cube: string): string => createHash('sha256').update(cube).digest('hex');
