/**
 * One pixel for each block of 2 x 2 of the mosaic, as it looks from the middle of the block: the mean of its two greens, whose middle that is, and red and blue
 * in a straight line between the nearest four of each, since their own pixel lies half a pixel beside it both ways. So grey stays grey on edges and slopes.
 */
import { type Channel, channelAt, type Mosaic, type Pixels, pixelsOf, readMosaic } from './mosaic.ts';

/** The pixels that such a pixel has of a colour before and behind a place one way, and how much of the latter counts. */
function around(place: number, isOfColour: (index: number) => boolean): { before: number; part: number } {
  let before = Math.floor(place);
  while (!isOfColour(before)) before -= 1;
  return { before, part: (place - before) / 2 };
}

/** As large as the mosaic: each pixel of a block has the block's values. `origin`: where a block begins. */
export function half(
  mosaic: Mosaic,
  origin: { readonly row: number; readonly column: number } = { row: 0, column: 0 },
): Pixels {
  const { pattern } = mosaic;
  const read = readMosaic(mosaic);
  const top = (row: number): number => row - ((((row - origin.row) % 2) + 2) % 2);
  const left = (column: number): number => column - ((((column - origin.column) % 2) + 2) % 2);
  const hasColour = (channel: Channel, row: number, column: number): boolean =>
    channelAt(pattern, row + 2, column + 2) === channel;
  return pixelsOf(mosaic, (y, x) => {
    const [row, column] = [top(y), left(x)];
    const coloured = (channel: 0 | 2): number => {
      const inRow = (index: number): boolean => hasColour(channel, index, 0) || hasColour(channel, index, 1);
      const inColumn = (index: number): boolean =>
        hasColour(channel, 0, index) || hasColour(channel, 1, index);
      const down = around(row + 0.5, inRow);
      const across = around(column + 0.5, inColumn);
      const line = (at: number): number =>
        (1 - across.part) * read(at, across.before) + across.part * read(at, across.before + 2);
      return (1 - down.part) * line(down.before) + down.part * line(down.before + 2);
    };
    let green = 0;
    for (const [dy, dx] of [
      [0, 0],
      [0, 1],
      [1, 0],
      [1, 1],
    ] as const)
      if (hasColour(1, row + dy, column + dx)) green += read(row + dy, column + dx) / 2;
    return [coloured(0), green, coloured(2)];
  });
}
