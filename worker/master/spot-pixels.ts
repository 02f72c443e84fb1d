/** Which pixels of a frame are the spots of a master (in which frames: ../spot-frames.ts). */
import type { Point } from '../../proof/pixel-samples.ts';

/** Squares of this side, in a grid over the frame: 25 of 12 x 12 make 3600 pixels. */
export const SIDE = 12;
const SQUARES = 5;

/** Corners of the squares, the outermost at the edges of the picture. */
export function corners(width: number, height: number): Point[] {
  const along = (side: number): number[] => {
    const room = Math.max(0, side - SIDE);
    return [
      ...new Set(Array.from({ length: SQUARES }, (_, index) => Math.round((room * index) / (SQUARES - 1)))),
    ];
  };
  return along(height).flatMap((y) => along(width).map((x) => ({ x, y })));
}

export function square({ x, y }: Point, width: number, height: number): Point[] {
  const points: Point[] = [];
  for (let row = y; row < Math.min(height, y + SIDE); row += 1)
    for (let column = x; column < Math.min(width, x + SIDE); column += 1) points.push({ x: column, y: row });
  return points;
}

/** Every pixel of the squares. */
export function spotPixels(width: number, height: number): Point[] {
  return corners(width, height).flatMap((corner) => square(corner, width, height));
}
