/** What a mosaic is balanced by while it is demosaiced: methods compare colours, and grey must look grey to them. */
import type { Triple } from './matrix.ts';

/** A channel that sees less than this of grey is not raised further: its noise would decide. */
const DARKEST = 1 / 16;

/** Divisors of the mosaic's channels before, factors of the picture's after; made from camera values of grey, the largest 1. */
export const balanceOf = ([r, g, b]: Triple): Triple => [
  Math.max(r, DARKEST),
  Math.max(g, DARKEST),
  Math.max(b, DARKEST),
];
