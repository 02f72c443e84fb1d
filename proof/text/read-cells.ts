/**
 * Which words a line shows, and whether they are those that it must: character by character, against the pictures that our own code draws. Of the
 * ground only its bounds are known, since what is under it is the source's business: a sample that a letter and any ground could have made
 * costs nothing.
 */
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

/** What can be told apart from what was expected: printable ASCII, and the mark of what was cut off. */
const READABLE = [...Array.from({ length: 95 }, (_, index) => String.fromCodePoint(32 + index)), '…'];

/** A cell that shows none of the readable characters well. */
export const UNREADABLE = '�';

export interface CellCost {
  /** Mean squared error that the expected character leaves, over that which it would leave if nothing were drawn. */
  readonly missing: number;
  /** The character that explains the cell best, where that is another one by far; null: none is. */
  readonly better: string | null;
}

export interface CellReader {
  /** `words`: that must be there. */
  costs(luma: Luma, words: string): CellCost[];
  /** What is there, as well as it can be read. */
  read(luma: Luma, length: number): string;
}

/** Below this nothing else can be much better: two characters of one font differ by more. */
const CLEAR = 0.02;
/** How much better another character must be. */
const MARGIN = 2;
/** What an unreadable cell leaves. */
const READABLE_MISSING = 0.25;

export function cellReader(item: BurntIn, window: Rectangle, font: Font): CellReader {
  const { letters, look, box } = item;
  const glyphs = new Glyphs(font, letters.size);
  const cover = look.cover.num / look.cover.den;
  // Of the codes that a picture of 8 bits can have.
  const lowest = cover * look.ground + (1 - cover);
  const highest = cover * look.ground + (1 - cover) * 254;
  const [top, bottom] = [box.top - window.top, box.top + box.height - window.top];
  const cells = new Map<string, Float32Array>();
  const height = bottom - top;

  const cellOf = (character: string): Float32Array => {
    const known = cells.get(character);
    if (known !== undefined) return known;
    const glyph = glyphs.of(character.codePointAt(0) as number);
    const cell = new Float32Array(letters.pitch * height);
    const base = letters.baseline - box.top;
    for (let row = 0; row < glyph.height; row += 1)
      for (let column = 0; column < glyph.width; column += 1) {
        const [x, y] = [glyph.left + column, base + glyph.top + row];
        if (x >= 0 && x < letters.pitch && y >= 0 && y < height)
          cell[y * letters.pitch + x] = glyph.values[row * glyph.width + column] as number;
      }
    cells.set(character, cell);
    return cell;
  };

  const cost = ({ width, values }: Luma, index: number, cell: Float32Array): number => {
    const left = letters.left - window.left + index * letters.pitch;
    let sum = 0;
    for (let y = 0; y < height; y += 1)
      for (let x = 0; x < letters.pitch; x += 1) {
        const covered = cell[y * letters.pitch + x] as number;
        const value = values[(top + y) * width + left + x] as number;
        const low = covered * look.letters + (1 - covered) * lowest;
        const high = covered * look.letters + (1 - covered) * highest;
        const off = value < low ? low - value : value > high ? value - high : 0;
        sum += off * off;
      }
    return sum;
  };

  /** What a picture of the character would leave of nothing at all. */
  const energy = (cell: Float32Array): number => {
    const step = look.letters - highest;
    return cell.reduce((sum, covered) => sum + (covered * step) ** 2, 0);
  };

  const best = (luma: Luma, index: number): { character: string; cost: number } =>
    READABLE.map((character) => ({ character, cost: cost(luma, index, cellOf(character)) })).reduce((a, b) =>
      b.cost < a.cost ? b : a,
    );
  /** Of a space: what is no letter, over what a letter has. */
  const whole = energy(cellOf('8'));

  return {
    costs: (luma, words) =>
      [...words].map((character, index) => {
        const own = cellOf(character);
        const left = cost(luma, index, own);
        const missing = left / (energy(own) || whole);
        if (missing <= CLEAR) return { missing, better: null };
        const other = best(luma, index);
        return {
          missing,
          better: other.character !== character && other.cost * MARGIN < left ? other.character : null,
        };
      }),
    read: (luma, length) =>
      Array.from({ length }, (_, index) => {
        const found = best(luma, index);
        const own = energy(cellOf(found.character)) || whole;
        return found.cost / own > READABLE_MISSING ? UNREADABLE : found.character;
      }).join(''),
  };
}
