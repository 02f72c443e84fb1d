/** 3×3 matrices in double precision, rows first, applied to column vectors. */

/** Red, green and blue, or X, Y and Z. */
export type Triple = readonly [number, number, number];
/** Three rows. */
export type Matrix = readonly [Triple, Triple, Triple];

const dot = (a: Triple, b: Triple): number => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const columns = (matrix: Matrix): Matrix => [
  [matrix[0][0], matrix[1][0], matrix[2][0]],
  [matrix[0][1], matrix[1][1], matrix[2][1]],
  [matrix[0][2], matrix[1][2], matrix[2][2]],
];

export const apply = (matrix: Matrix, value: Triple): Triple => [
  dot(matrix[0], value),
  dot(matrix[1], value),
  dot(matrix[2], value),
];

export const diagonal = ([a, b, c]: Triple): Matrix => [
  [a, 0, 0],
  [0, b, 0],
  [0, 0, c],
];

/** `first` is what is applied last: multiply(a, b) applied to v is a(b(v)). */
export function multiply(first: Matrix, ...others: readonly Matrix[]): Matrix {
  return others.reduce<Matrix>((product, other) => {
    const [a, b, c] = columns(other);
    return [
      [dot(product[0], a), dot(product[0], b), dot(product[0], c)],
      [dot(product[1], a), dot(product[1], b), dot(product[1], c)],
      [dot(product[2], a), dot(product[2], b), dot(product[2], c)],
    ];
  }, first);
}

const cross = (a: Triple, b: Triple): Triple => [
  a[1] * b[2] - a[2] * b[1],
  a[2] * b[0] - a[0] * b[2],
  a[0] * b[1] - a[1] * b[0],
];

/** Throws RangeError when the matrix has no inverse. */
export function invert(matrix: Matrix): Matrix {
  const [a, b, c] = matrix;
  const determinant = dot(a, cross(b, c));
  if (determinant === 0 || !Number.isFinite(determinant))
    throw new RangeError(`a matrix without inverse: ${JSON.stringify(matrix)}`);
  const scale = (row: Triple): Triple => [row[0] / determinant, row[1] / determinant, row[2] / determinant];
  return columns([scale(cross(b, c)), scale(cross(c, a)), scale(cross(a, b))]);
}
