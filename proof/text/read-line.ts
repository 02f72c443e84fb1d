/**
 * Which words a line shows, and whether they are those that it must: character by character, against the pictures that our own code draws. The ground of each
 * character is whatever it is, since that is the source's business, and letters may be weaker than they were drawn, since a codec blurs them.
 */
import { lettersLike } from './alphabet.ts';
import type { BurntIn } from './form.ts';
import type { Font } from './font.ts';
import type { Rectangle } from '../framing.ts';
import { Glyphs } from './line.ts';

/** Luma of a window, in codes of 8 bits with their fractions. */
export interface Luma {
  readonly width: number;
  readonly height: number;
  readonly values: ArrayLike<number>;
}

/** A cell that looks like no readable character. */
const UNREADABLE = '\ufffd';

export interface LineFit {
  /** Correlation of the line with the picture of its words, the mean of every cell taken off: 1, the words and nothing else; 0, anything. */
  readonly likeness: number;
  /** Cells of which another character explains much more. */
  readonly others: number;
  /** Of each of `alternatives`, how the cells in which it differs speak for it. */
  readonly evidence: readonly Evidence[];
}

/** Of one frame, or summed up over several. */
export interface Evidence {
  /** Squares by which these words explain the cells better than those that are expected; below 0: worse. */
  readonly gained: number;
  /** Squares between both. */
  readonly apart: number;
  /** Variance of `gained`, by what the line leaves unexplained. */
  readonly variance: number;
}

/**
 * Whether other words are there: they explain more, and so much more than the expected ones would leave to them that no noise does it. A codec can
 * take the bar out of one small 8, and what is left is a 0: of one frame they must explain much more, as of a single cell.
 */
export const isInstead = ({ gained, apart, variance }: Evidence, frames: 'one' | 'many'): boolean =>
  gained > (frames === 'one' ? NEARER * apart : 0) && gained + apart > CERTAIN * Math.sqrt(variance);

export interface LineReader {
  /** `alternatives`: words of the same length that the line may show in their place. */
  fit(luma: Luma, words: string, alternatives: readonly string[]): LineFit;
  /** What is there, as well as it can be read; null: no text. */
  read(luma: Luma, length: number): string | null;
  /** Samples that letters cover all around: their mean, codes of 8 bits; null: too few, in letters so small. */
  level(luma: Luma, words: string): number | null;
}

/** Of the squares between two characters, how much nearer to another one a cell must be: 0 is in the middle, 1 is that other one. */
const NEARER = 0.5;
/** And by how many standard deviations of what the line leaves unexplained: letters of eight pixels in a coarse codec are blurred into each other. */
const CERTAIN = 7;
/** A cell whose own character leaves less of the energy of a letter than this cannot be nearer to another one. */
const CLEAR = 0.05;
/** A line less like its words shows none. */
const SOME_TEXT = 0.4;
/** A codec that leaves letters less than this part of their height above the ground leaves none. */
const WEAKEST = 0.4;

/** Fewer samples say little of how bright letters are. */
const LEAST_INSIDE = 24;

interface Cell {
  readonly covered: Float32Array;
  /** Samples that are covered whole, as are all around them. */
  readonly inside: readonly number[];
  /** Squares about its mean. */
  readonly energy: number;
}

export function lineReader(item: BurntIn, window: Rectangle, font: Font): LineReader {
  const { letters, look, box } = item;
  const glyphs = new Glyphs(font, letters.size);
  const cover = look.cover.num / look.cover.den;
  /** From the brightest ground that a picture of 8 bits can make. */
  const least = WEAKEST * (look.letters - (cover * look.ground + (1 - cover) * 254));
  const top = box.top - window.top;
  const height = box.height;
  const { pitch } = letters;
  const size = pitch * height;
  const cells = new Map<string, Cell>();

  const cellOf = (character: string): Cell => {
    const known = cells.get(character);
    if (known !== undefined) return known;
    const glyph = glyphs.of(character.codePointAt(0) as number);
    const covered = new Float32Array(size);
    const base = letters.baseline - box.top;
    for (let row = 0; row < glyph.height; row += 1)
      for (let column = 0; column < glyph.width; column += 1) {
        const [x, y] = [glyph.left + column, base + glyph.top + row];
        if (x >= 0 && x < pitch && y >= 0 && y < height)
          covered[y * pitch + x] = glyph.values[row * glyph.width + column] as number;
      }
    const cell = { covered, inside: insideOf(covered, pitch), energy: scatter(covered) };
    cells.set(character, cell);
    return cell;
  };

  const valuesOf = ({ width, values }: Luma, index: number): Float64Array => {
    const left = letters.left - window.left + index * pitch;
    const out = new Float64Array(size);
    for (let y = 0; y < height; y += 1)
      for (let x = 0; x < pitch; x += 1) out[y * pitch + x] = values[(top + y) * width + left + x] as number;
    return out;
  };

  /** Squares that a character leaves of a cell, whatever its ground. */
  const cost = (found: Float64Array, { covered }: Cell, step: number): number => {
    let sum = 0;
    let squares = 0;
    for (let at = 0; at < size; at += 1) {
      const off = (found[at] as number) - step * (covered[at] as number);
      sum += off;
      squares += off * off;
    }
    return squares - (sum * sum) / size;
  };

  /** Squares between two characters. */
  const between = (one: Cell, other: Cell, step: number): number => {
    const difference = one.covered.map((value, at) => value - (other.covered[at] as number));
    return step * step * scatter(difference);
  };

  /** How high letters are above their ground, by least squares over the whole line; and how like the words it is. */
  const lineFit = (
    found: readonly Float64Array[],
    wanted: readonly Cell[],
  ): { step: number; likeness: number } => {
    let [product, drawn, seen] = [0, 0, 0];
    for (const [index, values] of found.entries()) {
      const { covered, energy } = wanted[index] as Cell;
      product += together(values, covered);
      drawn += energy;
      seen += scatter(values);
    }
    const likeness = drawn * seen < 1e-9 ? 0 : product / Math.sqrt(drawn * seen);
    return { step: Math.max(least, drawn < 1e-9 ? 0 : product / drawn), likeness };
  };

  const whole = cellOf('8').energy;

  /** Of names the scripts that they are written in; of labels, digits are among the plain letters. */
  const alphabet = lettersLike(item.words.kind === 'same' ? item.words.text : '', font);
  const best = (found: Float64Array, step: number): { character: string; cost: number } =>
    alphabet
      .map((character) => ({ character, cost: cost(found, cellOf(character), step) }))
      .reduce((a, b) => (b.cost < a.cost ? b : a));

  return {
    fit: (luma, words, alternatives) => {
      const characters = [...words];
      const found = characters.map((_, index) => valuesOf(luma, index));
      const wanted = characters.map(cellOf);
      const { step, likeness } = lineFit(found, wanted);
      const own = found.map((values, index) => cost(values, wanted[index] as Cell, step));
      const line = own.reduce((sum, left) => sum + left, 0) / Math.max(1, own.length * size);
      /** Variance of a sample of a cell: what the words leave of the line, or what even the nearest character leaves of this cell, whose ground may have an edge. */
      const noiseOf = (nearest: number): number => Math.max(line, nearest / size);
      const others = own.filter((left, index) => {
        const cell = wanted[index] as Cell;
        if (left <= CLEAR * step * step * (cell.energy || whole)) return false;
        const other = best(found[index] as Float64Array, step);
        const apart = between(cell, cellOf(other.character), step);
        const gained = left - other.cost;
        return (
          gained > NEARER * apart && gained + apart > CERTAIN * 2 * Math.sqrt(noiseOf(other.cost) * apart)
        );
      }).length;
      const evidence = alternatives.map((words): Evidence => {
        let [gained, apart, variance] = [0, 0, 0];
        for (const [index, character] of [...words].entries()) {
          if (character === characters[index]) continue;
          const cell = cellOf(character);
          const left = own[index] as number;
          const other = cost(found[index] as Float64Array, cell, step);
          const squares = between(wanted[index] as Cell, cell, step);
          gained += left - other;
          apart += squares;
          variance += 4 * noiseOf(Math.min(left, other)) * squares;
        }
        return { gained, apart, variance };
      });
      return { likeness, others, evidence };
    },
    level: (luma, words) => {
      let [sum, count] = [0, 0];
      for (const [index, character] of [...words].entries()) {
        const { inside } = cellOf(character);
        const left = letters.left - window.left + index * pitch;
        for (const at of inside) {
          const [x, y] = [at % pitch, Math.floor(at / pitch)];
          sum += luma.values[(top + y) * luma.width + left + x] as number;
        }
        count += inside.length;
      }
      return count < LEAST_INSIDE ? null : sum / count;
    },
    read: (luma, length) => {
      const found = Array.from({ length }, (_, index) => valuesOf(luma, index));
      /** What letters on the brightest ground have at least; then as they are, by what was read so. */
      const first = found.map((values) => best(values, 2 * least).character);
      const { step } = lineFit(found, first.map(cellOf));
      const words = found.map((values) => best(values, step).character);
      if (lineFit(found, words.map(cellOf)).likeness < SOME_TEXT || words.every((one) => one === ' '))
        return null;
      return words
        .map((character, index) => {
          const values = found[index] as Float64Array;
          const cell = cellOf(character);
          const all = scatter(values);
          return character !== ' ' && cost(values, cell, step) > (1 - SOME_TEXT ** 2) * all
            ? UNREADABLE
            : character;
        })
        .join('');
    },
  };
}

/** Places of samples that are covered whole, and of whose neighbours those above and below or on both sides are. */
function insideOf(covered: Float32Array, width: number): number[] {
  const isWhole = (at: number): boolean => (covered[at] ?? 0) > 1 - 1 / 512;
  return [...covered.keys()].filter(
    (at) =>
      isWhole(at) &&
      ((isWhole(at - width) && isWhole(at + width)) ||
        (at % width > 0 && at % width < width - 1 && isWhole(at - 1) && isWhole(at + 1))),
  );
}

/** Squares about the mean. */
function scatter(values: ArrayLike<number>): number {
  let sum = 0;
  let squares = 0;
  for (let at = 0; at < values.length; at += 1) {
    const value = values[at] as number;
    sum += value;
    squares += value * value;
  }
  return squares - (sum * sum) / values.length;
}

/** The same of two. */
function together(one: ArrayLike<number>, other: ArrayLike<number>): number {
  let [a, b, product] = [0, 0, 0];
  for (let at = 0; at < one.length; at += 1) {
    const [x, y] = [one[at] as number, other[at] as number];
    a += x;
    b += y;
    product += x * y;
  }
  return product - (a * b) / one.length;
}
