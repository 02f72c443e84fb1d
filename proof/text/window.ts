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
    const left = Math.max(0, box.left - RING);
    const top = Math.max(0, box.top - RING);
    return {
      left,
      top,
      width: Math.min(picture.width, box.left + box.width + RING) - left,
      height: Math.min(picture.height, box.top + box.height + RING) - top,
    };
  });
  const most = (side: 'width' | 'height'): number =>
    4 * Math.ceil(Math.max(...windows.map((window) => window[side])) / 4);
  return { windows, stacked: { width: most('width'), height: most('height') } };
}
