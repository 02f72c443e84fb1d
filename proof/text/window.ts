/** Which part of a picture is looked at for each burnt-in text: its box and a ring around it, which must be as it was. */
import type { Rectangle } from '../framing.ts';
import type { BurntIn } from './form.ts';

/** Pixels around a box, where it can have them. */
const RING = 4;

export interface TextWindows {
  readonly windows: readonly Rectangle[];
  /** What each is filled up to, so that they can lie below each other; whole chroma samples of every layout. */
  readonly stacked: { readonly width: number; readonly height: number };
}

export function textWindows(
  burntIn: readonly Pick<BurntIn, 'box'>[],
  picture: { readonly width: number; readonly height: number },
): TextWindows {
  const windows = burntIn.map(({ box }) => {
    let left = Math.max(0, box.left - RING);
    let top = Math.max(0, box.top - RING);
    let right = Math.min(picture.width, box.left + box.width + RING);
    let bottom = Math.min(picture.height, box.top + box.height + RING);
    // What another text covers is not as it was.
    for (const { box: other } of burntIn) {
      const touches =
        other !== box &&
        other.left < right &&
        other.left + other.width > left &&
        other.top < bottom &&
        other.top + other.height > top;
      if (!touches) continue;
      if (other.left + other.width <= box.left) left = other.left + other.width;
      else if (other.left >= box.left + box.width) right = other.left;
      else if (other.top + other.height <= box.top) top = other.top + other.height;
      else bottom = other.top;
    }
    return { left, top, width: right - left, height: bottom - top };
  });
  const most = (side: 'width' | 'height'): number =>
    4 * Math.ceil(Math.max(...windows.map((window) => window[side])) / 4);
  return { windows, stacked: { width: most('width'), height: most('height') } };
}
