/**
 * HTML, put together so that no text from outside becomes markup: whatever a template is given is escaped, unless it is
 * markup itself. Pure.
 */
import { printable } from '../../files/names.ts';

/** Text that is HTML already. Made by `markup` alone. */
export class Markup {
  readonly text: string;
  constructor(text: string) {
    this.text = text;
  }
}

export type Piece = Markup | string | number | null | readonly Piece[];

const ENTITIES: Readonly<Record<string, string>> = {
  '&': '&amp;',
  '<': '&lt;',
  '>': '&gt;',
  '"': '&quot;',
  "'": '&#39;',
  '`': '&#96;',
};

/**
 * What no reader sees and a page obeys: halves of surrogate pairs, format characters (those that join letters of a script are
 * left), separators of lines, and what no standard gives a meaning.
 */
const UNSEEN = /(?![\u200c\u200d])[\p{Cf}\p{Zl}\p{Zp}\p{Co}\p{Cn}\p{Cs}]/gu;

const asEscape = (character: string): string => `\\u{${(character.codePointAt(0) as number).toString(16)}}`;

/** With what no reader sees written out: for a page that puts texts into elements itself. */
export const visible = (text: string): string => printable(text).replace(UNSEEN, asEscape);

/** For an HTML page: in text and between double quotes of an attribute. The only way in for text. */
export function escaped(text: string): string {
  return visible(text).replace(/[&<>"'`]/g, (character) => ENTITIES[character] as string);
}

function textOf(piece: Piece): string {
  if (piece === null) return '';
  if (piece instanceof Markup) return piece.text;
  if (typeof piece === 'number') return String(piece);
  if (typeof piece === 'string') return escaped(piece);
  return piece.map(textOf).join('');
}

export function markup(parts: TemplateStringsArray, ...pieces: readonly Piece[]): Markup {
  return new Markup(
    parts.map((part, index) => (index === 0 ? part : textOf(pieces[index - 1] ?? null) + part)).join(''),
  );
}

/** A name from outside: isolated, so that letters written from right to left leave the words around them in their order. */
export const name = (text: string): Markup => markup`<bdi>${text}</bdi>`;

/** The same where every character counts: paths, commands. */
export const code = (text: string): Markup => markup`<code dir="ltr"><bdi>${text}</bdi></code>`;

/** A path from the page to a file beside or below it, `/` between parts; null: a part of it cannot be written in an address. */
export function address(path: string): string | null {
  if (!path.isWellFormed()) return null;
  return path
    .split('/')
    .map((part) => (part === '..' ? part : encodeURIComponent(part)))
    .join('/');
}
