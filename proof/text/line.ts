/** A line of text as its picture: each character in a cell as wide as the next, drawn one over the other. */
import type { Font } from './font.ts';
import { type Coverage, coverageOf } from './coverage.ts';

/** How a line is set: whole pixels, since every renderer agrees on those. */
export interface Setting {
  /** Pixels an em. */
  readonly size: number;
  /** From a character to the next. */
  readonly pitch: number;
}

/** Glyph pictures of a font at one size, each drawn once. */
export class Glyphs {
  readonly #font: Font;
  readonly #size: number;
  readonly #drawn = new Map<number, Coverage>();

  constructor(font: Font, size: number) {
    this.#font = font;
    this.#size = size;
  }

  of(codePoint: number): Coverage {
    const known = this.#drawn.get(codePoint);
    if (known !== undefined) return known;
    const { unitsPerEm } = this.#font;
    const drawn = coverageOf(this.#font.contoursOf(this.#font.glyphOf(codePoint)), this.#size, unitsPerEm);
    this.#drawn.set(codePoint, drawn);
    return drawn;
  }
}

export interface LinePlace {
  /** Of the whole picture of the line. */
  readonly width: number;
  readonly height: number;
  /** Where the pen begins in it: left edge of the first cell, and the base line. */
  readonly x: number;
  readonly y: number;
}

/** 0 to 1, row by row. What lies outside is cut off. */
export function drawLine(
  words: string,
  glyphs: Glyphs,
  pitch: number,
  { width, height, x, y }: LinePlace,
): Float32Array {
  const picture = new Float32Array(width * height);
  let pen = x;
  for (const character of words) {
    addGlyph(picture, width, glyphs.of(character.codePointAt(0) as number), { x: pen, y });
    pen += pitch;
  }
  return picture;
}

function addGlyph(
  picture: Float32Array,
  width: number,
  glyph: Coverage,
  pen: { readonly x: number; readonly y: number },
): void {
  const height = picture.length / width;
  for (let row = 0; row < glyph.height; row += 1) {
    const line = pen.y + glyph.top + row;
    if (line < 0 || line >= height) continue;
    for (let column = 0; column < glyph.width; column += 1) {
      const at = pen.x + glyph.left + column;
      if (at < 0 || at >= width) continue;
      const place = line * width + at;
      const own = glyph.values[row * glyph.width + column] as number;
      picture[place] = 1 - (1 - (picture[place] as number)) * (1 - own);
    }
  }
}
