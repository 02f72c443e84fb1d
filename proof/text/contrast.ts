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

/** Codes of letters and of their ground, by least squares of samples on how much of each is covered. */
export class LettersAndGround {
  #count = 0;
  #covered = 0;
  #squares = 0;
  #values = 0;
  #products = 0;

  add(value: number, covered: number): void {
    this.#count += 1;
    this.#covered += covered;
    this.#squares += covered * covered;
    this.#values += value;
    this.#products += covered * value;
  }

  /** null: nothing is to be drawn. */
  codes(): { readonly letters: number; readonly ground: number } | null {
    const mean = this.#covered / this.#count;
    const spread = this.#squares - mean * this.#covered;
    if (this.#count === 0 || spread < 1e-9) return null;
    const slope = (this.#products - mean * this.#values) / spread;
    const ground = this.#values / this.#count - slope * mean;
    return { letters: ground + slope, ground };
  }
}
