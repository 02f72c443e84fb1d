/** What development asks of matrices beyond media/colour: from tags, and inverses that may not exist. */
import { apply, diagonal, invert, type Matrix, multiply, type Triple } from '../../colour/matrix.ts';

export { apply, diagonal, type Matrix, multiply, type Triple };

/** Nine values as a tag has them, row by row. Throws RangeError unless they are nine and finite. */
export function matrixOf(values: readonly number[]): Matrix {
  const [a, b, c, d, e, f, g, h, i, ...more] = values;
  if (
    a === undefined ||
    b === undefined ||
    c === undefined ||
    d === undefined ||
    e === undefined ||
    f === undefined ||
    g === undefined ||
    h === undefined ||
    i === undefined ||
    more.length > 0 ||
    !values.every(Number.isFinite)
  )
    throw new RangeError(`not a matrix of three by three: ${values.join(' ')}`);
  return [
    [a, b, c],
    [d, e, f],
    [g, h, i],
  ];
}

export const scale = (matrix: Matrix, by: number): Matrix => multiply(diagonal([by, by, by]), matrix);

/** Null when there is none: where the rows, each taken by itself to length 1, span less than 10^-9. */
export function inverse(matrix: Matrix): Matrix | null {
  const [a, b, c] = matrix;
  const volume =
    a[0] * (b[1] * c[2] - b[2] * c[1]) +
    a[1] * (b[2] * c[0] - b[0] * c[2]) +
    a[2] * (b[0] * c[1] - b[1] * c[0]);
  const lengths = Math.hypot(...a) * Math.hypot(...b) * Math.hypot(...c);
  return Math.abs(volume) > 1e-9 * lengths ? invert(matrix) : null;
}
