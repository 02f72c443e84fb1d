/**
 * Menon, Andriani, Calvagno, "Demosaicing with directional filtering and a posteriori decision", IEEE Transactions on Image Processing 16(1),
 * 2007: green is interpolated across and down, the way on which the colour difference changes less is taken (their homogeneity),
 * red and blue follow by colour differences along the same way, and a last pass refines each from its neighbours.
 */
import { channelAt, computed, type Mosaic, type Pixels, pixelsOf, type Read, readMosaic } from './mosaic.ts';

/** Of the decision: the difference's changes at the pixel itself count three times those around it. */
const MIDDLE = 3;

interface Way {
  readonly rows: 0 | 1;
  readonly columns: 0 | 1;
}
const across: Way = { rows: 0, columns: 1 };
const down: Way = { rows: 1, columns: 0 };

/** The two values that lie `by` pixels before and behind a place, one way, added. */
const pair = (way: Way, read: Read, row: number, column: number, by = 1): number => read(row - by * way.rows, column - by * way.columns) + read(row + by * way.rows, column + by * way.columns);

export function fine(mosaic: Mosaic): Pixels {
  const { pattern } = mosaic;
  const seen = readMosaic(mosaic);
  const isGreen = (row: number, column: number): boolean => channelAt(pattern, row, column) === 1;
  const at = (margin: number, value: Read): Read => computed(mosaic, margin, value);

  // Green of a pixel of red or blue one way, and what its own value has more than green.
  const directional = (way: Way): Read => (row, column) => pair(way, seen, row, column) / 2 + (2 * seen(row, column) - pair(way, seen, row, column, 2)) / 4;
  const greenAcross = at(12, directional(across));
  const greenDown = at(12, directional(down));
  const differenceAcross: Read = (row, column) => seen(row, column) - greenAcross(row, column);
  const differenceDown: Read = (row, column) => seen(row, column) - greenDown(row, column);
  // How much the difference changes between the two pixels of one colour around a point, one way.
  const changeAcross: Read = (row, column) => Math.abs(differenceAcross(row, column - 1) - differenceAcross(row, column + 1));
  const changeDown: Read = (row, column) => Math.abs(differenceDown(row - 1, column) - differenceDown(row + 1, column));
  /** All such changes around a pixel, as they lie in its window of 5 x 5. */
  const unrestAcross: Read = (row, column) =>
    MIDDLE * pair(across, changeAcross, row, column) + pair(down, changeAcross, row, column) + pair(across, changeAcross, row - 2, column) + pair(across, changeAcross, row + 2, column);
  const unrestDown: Read = (row, column) =>
    MIDDLE * pair(down, changeDown, row, column) + pair(across, changeDown, row, column) + pair(down, changeDown, row, column - 2) + pair(down, changeDown, row, column + 2);
  /** 1 across, 0 down; pixels of red and blue alone. */
  const decided = at(8, (row, column) => (unrestAcross(row, column) <= unrestDown(row, column) ? 1 : 0));

  const firstGreen = at(8, (row, column) => (isGreen(row, column) ? seen(row, column) : decided(row, column) === 1 ? greenAcross(row, column) : greenDown(row, column)));
  /** At green pixels: the colour of the row, and that of the rows above and below, by differences to a green plane. */
  const beside = (green: Read, way: Way): Read => {
    const difference: Read = (row, column) => seen(row, column) - green(row, column);
    return (row, column) => seen(row, column) + pair(way, difference, row, column) / 2;
  };
  const rowColour = at(6, beside(firstGreen, across));
  const columnColour = at(6, beside(firstGreen, down));
  /** At a pixel of red or blue, of its green neighbours one way: its own colour and the third one. */
  const ofNeighbours = (row: number, column: number, inRow: Read, inColumn: Read): { way: Way; own: Read; third: Read } =>
    decided(row, column) === 1 ? { way: across, own: inRow, third: inColumn } : { way: down, own: inColumn, third: inRow };

  const firstThird = at(4, (row, column) => {
    const { way, own, third } = ofNeighbours(row, column, rowColour, columnColour);
    return seen(row, column) + pair(way, (y, x) => third(y, x) - own(y, x), row, column) / 2;
  });
  const green = at(4, (row, column) => {
    if (isGreen(row, column)) return seen(row, column);
    const { way, own } = ofNeighbours(row, column, rowColour, columnColour);
    return seen(row, column) - (pair(way, (y, x) => own(y, x) - seen(y, x), row, column) + seen(row, column) - firstGreen(row, column)) / 3;
  });
  const refinedRowColour = at(2, beside(green, across));
  const refinedColumnColour = at(2, beside(green, down));
  const third = at(0, (row, column) => {
    const { way, own, third: other } = ofNeighbours(row, column, refinedRowColour, refinedColumnColour);
    return seen(row, column) + (pair(way, (y, x) => other(y, x) - own(y, x), row, column) + firstThird(row, column) - seen(row, column)) / 3;
  });

  return pixelsOf(mosaic, (row, column) => {
    const channel = channelAt(pattern, row, column);
    if (channel !== 1) {
      const [own, other] = [seen(row, column), third(row, column)];
      return channel === 0 ? [own, green(row, column), other] : [other, green(row, column), own];
    }
    const redBeside = channelAt(pattern, row, column + 1) === 0;
    const [inRow, inColumn] = [refinedRowColour(row, column), refinedColumnColour(row, column)];
    return redBeside ? [inRow, seen(row, column), inColumn] : [inColumn, seen(row, column), inRow];
  });
}
