/** The picture of a burnt-in text in its window, drawn by our own code: how much of each sample the letters cover. */
import type { Rectangle } from '../framing.ts';
import type { BurntIn } from './form.ts';
import { drawLine, Glyphs } from './line.ts';
import type { Font } from './font.ts';

export interface TextPicture {
  readonly width: number;
  readonly height: number;
  /** 0 to 1. */
  readonly covered: Float32Array;
}

/** No letter within a pixel; letters all around; the edge between them. */
export const OUTSIDE = 0;
export const INSIDE = 1;
export const EDGE = 2;

/** Draws the words of frames; the last picture is kept, since most texts are the same in every frame. */
export class TextDrawer {
  readonly #item: BurntIn;
  readonly #window: Rectangle;
  readonly #glyphs: Glyphs;
  #last: { readonly words: string; readonly picture: TextPicture } | null = null;

  constructor(item: BurntIn, window: Rectangle, font: Font) {
    this.#item = item;
    this.#window = window;
    this.#glyphs = new Glyphs(font, item.letters.size);
  }

  draw(words: string): TextPicture {
    if (this.#last?.words === words) return this.#last.picture;
    const { left, top, width, height } = this.#window;
    const { letters } = this.#item;
    const covered = drawLine(words, this.#glyphs, letters.pitch, {
      width,
      height,
      x: letters.left - left,
      y: letters.baseline - top,
    });
    const picture = { width, height, covered };
    this.#last = { words, picture };
    return picture;
  }
}

/** The same in a plane with fewer samples: the mean of what each stands for. */
export function thinned({ width, height, covered }: TextPicture, across: number, down: number): TextPicture {
  if (across === 0 && down === 0) return { width, height, covered };
  const wide = -(-width >> across);
  const tall = -(-height >> down);
  const out = new Float32Array(wide * tall);
  for (let y = 0; y < tall; y += 1)
    for (let x = 0; x < wide; x += 1) {
      let sum = 0;
      let count = 0;
      for (let line = y << down; line < Math.min(height, (y + 1) << down); line += 1)
        for (let column = x << across; column < Math.min(width, (x + 1) << across); column += 1) {
          sum += covered[line * width + column] as number;
          count += 1;
        }
      out[y * wide + x] = sum / count;
    }
  return { width: wide, height: tall, covered: out };
}

/** More than nothing, and less than whole, by more than what two renderers differ in adding areas up. */
const NEXT_TO_NOTHING = 1 / 512;

/** Letters eroded by a pixel, and what lies beyond the letters grown by one. */
export function whereOf({ width, height, covered }: TextPicture): Uint8Array {
  // Of each sample: 1, some of it is covered; 2, some of it is not.
  const marks = new Uint8Array(covered.length);
  for (let at = 0; at < covered.length; at += 1) {
    const value = covered[at] as number;
    marks[at] = (value >= NEXT_TO_NOTHING ? 1 : 0) | (value <= 1 - NEXT_TO_NOTHING ? 2 : 0);
  }
  const across = new Uint8Array(covered.length);
  for (let y = 0; y < height; y += 1)
    for (let at = y * width; at < (y + 1) * width; at += 1)
      across[at] =
        (marks[at] as number) |
        (at > y * width ? (marks[at - 1] as number) : 0) |
        (at + 1 < (y + 1) * width ? (marks[at + 1] as number) : 0);
  const where = new Uint8Array(covered.length);
  for (let at = 0; at < covered.length; at += 1) {
    const near =
      (across[at] as number) |
      (at >= width ? (across[at - width] as number) : 0) |
      (at + width < covered.length ? (across[at + width] as number) : 0);
    where[at] = near === 2 ? OUTSIDE : near === 1 ? INSIDE : EDGE;
  }
  return where;
}
