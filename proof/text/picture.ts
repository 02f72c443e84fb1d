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

/** Of the whole plane. */
export type Where = 0 | 1 | 2;
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
  const rows = (values: Float32Array, better: (a: number, b: number) => number): Float32Array => {
    const across = new Float32Array(values.length);
    for (let y = 0; y < height; y += 1)
      for (let x = 0; x < width; x += 1) {
        const at = y * width + x;
        let value = values[at] as number;
        if (x > 0) value = better(value, values[at - 1] as number);
        if (x + 1 < width) value = better(value, values[at + 1] as number);
        across[at] = value;
      }
    const out = new Float32Array(values.length);
    for (let at = 0; at < values.length; at += 1) {
      let value = across[at] as number;
      if (at >= width) value = better(value, across[at - width] as number);
      if (at + width < values.length) value = better(value, across[at + width] as number);
      out[at] = value;
    }
    return out;
  };
  const most = rows(covered, Math.max);
  const least = rows(covered, Math.min);
  return Uint8Array.from(covered, (_, at) =>
    (most[at] as number) < NEXT_TO_NOTHING
      ? OUTSIDE
      : (least[at] as number) > 1 - NEXT_TO_NOTHING
        ? INSIDE
        : EDGE,
  );
}
