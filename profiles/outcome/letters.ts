/** Which names the font of burnt-in text can write, and how much room its letters take. */
import { printable } from '../../files/names.ts';
import type { Font } from '../../proof/text/font.ts';

/** Written from right to left, or joined: which glyphs those are takes more than a font. */
const SHAPED = /[\p{Script=Arabic}\p{Script=Hebrew}\p{Script=Syriac}\p{Script=Thaana}\p{Script=Nko}]/u;
/** Marks are put on the letter before, and controls are no letters. */
const NO_LETTER = /[\p{M}\p{C}\p{Zl}\p{Zp}]/u;

/** A character that is drawn as it is: one glyph in its own cell, within the line's box. */
function isWritable(character: string, font: Font, units: { advance: number; over: number }): boolean {
  if (character === ' ') return true;
  if (NO_LETTER.test(character) || SHAPED.test(character)) return false;
  const glyph = font.glyphOf(character.codePointAt(0) as number);
  if (glyph === 0 || font.advanceOf(glyph) !== units.advance) return false;
  const points = font.contoursOf(glyph).flat();
  return (
    points.length > 0 &&
    points.every(
      ({ x, y }) =>
        y <= font.ascender + units.over &&
        y >= font.descender - units.over &&
        x >= -units.advance / 4 &&
        x <= 1.25 * units.advance,
    )
  );
}

const escaped = (character: string): string => `\\u{${(character.codePointAt(0) as number).toString(16)}}`;

/** A name as it can be drawn, and what of it could not be. */
export function writable(
  name: string,
  font: Font,
): { readonly text: string; readonly escaped: readonly string[] } {
  const units = { advance: advanceOf(font), over: font.unitsPerEm / 8 };
  const unknown = new Set<string>();
  // A letter and its marks are one glyph where there is one.
  const text = [...printable(name).normalize('NFC')]
    .map((character) => {
      if (isWritable(character, font, units)) return character;
      unknown.add(character);
      return escaped(character);
    })
    .join('');
  return { text, escaped: [...unknown] };
}

/** For people: the characters and their numbers. */
export const charactersText = (characters: readonly string[]): string =>
  characters.map((character) => `${character} (${escaped(character).slice(3, -1)})`).join(', ');

/** Characters of words that somebody states in which a name could only be escaped; empty: all can be written. */
export function unwritable(words: string, font: Font): readonly string[] {
  const controls = [...words].filter((character) => printable(character) !== character);
  return [...new Set([...controls, ...writable(words, font).escaped])];
}

const advanceOf = (font: Font): number => font.advanceOf(font.glyphOf(0x30));
export const even = (value: number): number => value - (value % 2);

/** Of letters of `size`, pixels. */
export function measures(font: Font, size: number) {
  const pixels = (units: number): number => (units * size) / font.unitsPerEm;
  const side = Math.round(size / 4);
  const above = Math.round(size / 8) + Math.ceil(pixels(font.ascender));
  const below = Math.round(size / 8) + Math.ceil(pixels(-font.descender));
  return {
    pitch: Math.floor(pixels(advanceOf(font))),
    side,
    above,
    height: 2 * Math.ceil((above + below) / 2),
    width: (characters: number, pitch: number): number => 2 * Math.ceil((characters * pitch + 2 * side) / 2),
  };
}

export interface Fitting {
  readonly characters: number;
  /** Pixels an em; no letters are larger, and none smaller than `smallest`. */
  readonly wanted: number;
  readonly smallest: number;
  /** Pixels across. */
  readonly room: number;
}

/** Letter size and how many characters fit: smaller letters first, then fewer. */
export function fitted(
  font: Font,
  { characters, wanted, smallest, room }: Fitting,
): { readonly size: number; readonly most: number } {
  let size = wanted;
  const wide = (): number => {
    const { width, pitch } = measures(font, size);
    return width(characters, pitch);
  };
  while (size > smallest && wide() > room) size -= 1;
  const { pitch, side } = measures(font, size);
  return { size, most: Math.max(1, Math.floor((even(room) - 2 * side) / pitch)) };
}
