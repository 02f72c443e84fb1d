/** What of a raw picture is developed: DefaultCrop inside ActiveArea, in whole pixels. */
import type { Area, RawPicture } from '../../formats/dng/header.ts';

/** Pixels of the active area; `left` and `top` may be odd. */
export interface Crop {
  readonly left: number;
  readonly top: number;
  readonly width: number;
  readonly height: number;
}

export const sizeOf = ({ top, left, bottom, right }: Area): { width: number; height: number } => ({
  width: right - left,
  height: bottom - top,
});

/** From `start` on, `length` long, both to the nearest whole pixel (halves up), and inside `whole`. One pixel at least. */
function inside(start: number, length: number, whole: number): { start: number; length: number } {
  const from = Math.min(Math.max(0, Math.round(start)), whole - 1);
  return { start: from, length: Math.min(Math.max(1, Math.round(length)), whole - from) };
}

/** Whole blocks of 2 x 2: of an odd side the last line or column is left out. */
export const halved = ({
  width,
  height,
}: {
  readonly width: number;
  readonly height: number;
}): { readonly width: number; readonly height: number } => ({ width: width >> 1, height: height >> 1 });

export function cropOf({ activeArea, defaultCrop }: Pick<RawPicture, 'activeArea' | 'defaultCrop'>): Crop {
  const size = sizeOf(activeArea);
  const across = inside(defaultCrop.left, defaultCrop.width, size.width);
  const down = inside(defaultCrop.top, defaultCrop.height, size.height);
  return { left: across.start, top: down.start, width: across.length, height: down.length };
}
