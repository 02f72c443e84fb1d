/** Whether letters can be told from their ground. */

/** W3C WCAG 2.2, success criterion 1.4.3: text against what it lies on. */
export const LEAST_CONTRAST = 4.5;
/** The same, "relative luminance": flare of the screen. */
const FLARE = 0.05;
/** ITU-R BT.1886: what a screen makes of a code. */
const EXPONENT = 2.4;

const onScreen = (code: number): number => Math.min(1, Math.max(0, (code - 16) / 219)) ** EXPONENT;

/** 1 to 21, of two Y' in codes of 8 bits, limited range. */
export function contrastRatio(one: number, other: number): number {
  const [a, b] = [onScreen(one), onScreen(other)];
  return (Math.max(a, b) + FLARE) / (Math.min(a, b) + FLARE);
}

/**
 * Codes of letters and of their ground, by least squares of all samples of a box on how much of each is covered; null: nothing is to be drawn.
 */
export function lettersAndGround(
  values: ArrayLike<number>,
  covered: ArrayLike<number>,
): { readonly letters: number; readonly ground: number } | null {
  let [count, sum, product, square, total] = [0, 0, 0, 0, 0];
  for (let at = 0; at < covered.length; at += 1) {
    const [value, part] = [values[at] as number, covered[at] as number];
    count += 1;
    sum += part;
    square += part * part;
    total += value;
    product += part * value;
  }
  const spread = square - (sum * sum) / count;
  if (count === 0 || spread < 1e-9) return null;
  const slope = (product - (sum * total) / count) / spread;
  const ground = (total - slope * sum) / count;
  return { letters: ground + slope, ground };
}
