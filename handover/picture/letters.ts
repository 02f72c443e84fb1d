/** Words in a picture, drawn with the font of the installation by our own code. */
import { printable } from '../../files/names.ts';
import { burnInFace } from '../../proof/text/burn-in-font.ts';
import type { Font } from '../../proof/text/font.ts';
import { drawLine, Glyphs } from '../../proof/text/line.ts';
import type { Picture } from './picture.ts';

export type Colour = readonly [red: number, green: number, blue: number];

export interface Line {
  readonly words: string;
  /** Left edge of the first letter, and the base line. */
  readonly x: number;
  readonly y: number;
  /** Pixels an em. */
  readonly size: number;
  readonly colour: Colour;
}

/** Every letter is as wide. */
export function pitchOf(size: number): number {
  const font = burnInFace();
  return Math.round((font.advanceOf(font.glyphOf('0'.codePointAt(0) as number)) * size) / font.unitsPerEm);
}

const HALF = /\p{Cs}/u;

function drawn(font: Font, character: string): string {
  const code = character.codePointAt(0) as number;
  return font.glyphOf(code) === 0 || HALF.test(character) ? `\\u{${code.toString(16)}}` : character;
}

/** As the font can write it, at most `most` letters: what is too long loses its middle, since names differ at their ends. */
export function fittedWords(words: string, most: number): string {
  const font = burnInFace();
  const letters = [...printable(words)].flatMap((character) => [...drawn(font, character)]);
  if (letters.length <= most) return letters.join('');
  const head = Math.ceil((most - 1) / 2);
  return [...letters.slice(0, head), '…', ...letters.slice(letters.length - (most - 1 - head))].join('');
}

const glyphsBySize = new Map<number, Glyphs>();
function glyphsOf(size: number): Glyphs {
  const known = glyphsBySize.get(size) ?? new Glyphs(burnInFace(), size);
  glyphsBySize.set(size, known);
  return known;
}

/** Draws into `picture`; what lies beyond its edges is cut off. */
export function drawWords(picture: Picture, { words, x, y, size, colour }: Line): void {
  const height = 2 * size;
  const width = Math.max(0, Math.min(picture.width - x, [...words].length * pitchOf(size) + size));
  if (width === 0) return;
  const top = y - Math.round(1.4 * size);
  const line = drawLine(words, glyphsOf(size), pitchOf(size), { width, height, x: 0, y: y - top });
  for (let row = Math.max(0, -top); row < height && top + row < picture.height; row += 1)
    for (let column = 0; column < width; column += 1) {
      const covered = line[row * width + column] as number;
      if (covered === 0) continue;
      const at = 3 * ((top + row) * picture.width + x + column);
      for (let channel = 0; channel < 3; channel += 1) {
        const below = picture.samples[at + channel] as number;
        picture.samples[at + channel] = Math.round(below + covered * ((colour[channel] as number) - below));
      }
    }
}

export function fill(
  picture: Picture,
  area: { readonly x: number; readonly y: number; readonly width: number; readonly height: number },
  colour: Colour,
): void {
  for (let y = area.y; y < area.y + area.height; y += 1)
    for (let x = area.x; x < area.x + area.width; x += 1)
      picture.samples.set(colour, 3 * (y * picture.width + x));
}

/** Puts one picture into another; all of it must lie inside. */
export function place(
  picture: Picture,
  small: Picture,
  at: { readonly x: number; readonly y: number },
): void {
  for (let row = 0; row < small.height; row += 1)
    picture.samples.set(
      small.samples.subarray(3 * row * small.width, 3 * (row + 1) * small.width),
      3 * ((at.y + row) * picture.width + at.x),
    );
}
