/**
 * After Menon, Andriani, Calvagno, "Demosaicing with directional filtering and a posteriori decision", IEEE Transactions on Image Processing
 * 16(1), 2007: green is interpolated across and down, the two are judged by how much the colour difference changes on the way, red and
 * blue follow by colour differences along the same ways, and a last pass refines each from its neighbours.
 *
 * It works on a curve of the values (CURVE below), not on linear light: what the eye sees of a dark part weighs as much as what it sees of a
 * bright one, and grain is as strong everywhere (docs/raw.md has what that gives). Besides, it differs from the paper in five points, the first three measured
 * in linear light on mosaics of twelve known pictures, the fourth and what follows on the eight photographs and ten drawn pictures of docs/raw.md:
 * - both ways count by their parts instead of one alone (+0.8 dB on average; and no value hangs on the last bit of a comparison), as the third powers of their
 *   calm: of the second, letters lose 0.1 dB, of the fourth, photographs;
 * - green lies between its neighbours on the way or three quarters of their distance beyond (half of it: +0.6 dB in photographs and at coloured edges, -1.6 dB in
 *   grey rings as fine as the mosaic; of those, three quarters give back 0.2 dB);
 * - the refinement leaves a pixel itself half the weight instead of a third (+0.1 dB in photographs, -0.4 dB in grain);
 * - how steep green is on a way and how much the pixel's own colour bends count too, which Hamilton and Adams judge by (US patent 5,629,734, from memory):
 *   differences alone are blind to an edge that all colours share (+0.4 dB in letters, up to 0.2 dB in photographs);
 * - at a green pixel, red and blue leave their differences to green for the plain mean of their two neighbours by so much as the differences change more on
 *   the way than the colour itself does: there green tells nothing of it (+4 dB in bars of full colour, +0.5 dB in letters, up to 0.2 dB in photographs).
 */
import { channelAt, computed, type Mosaic, type Pixels, pixelsOf, type Read, readMosaic } from './mosaic.ts';

/** Of the judgement: the difference's changes at the pixel itself count three times those around it. */
const MIDDLE = 3;
/** What is no change, on the curve: where both ways are calmer, both count alike. */
const LEAST = 1e-4;
/** How far green may leave its two neighbours, of their distance. */
const BEYOND = 3 / 4;
/** Of the refinement: a pixel's own difference, and both of its neighbours' together. */
const OWN = 1 / 2;
const NEIGHBOURS = 1 / 2;

/** How much a change of differences weighs against one of the colour itself, squared; and what every colour is taken to change at least, on the curve. */
const APART = 0.16;
const FLAT = 0.02;

/**
 * Of a sensor's full range. Values go √(v + CURVE) − √CURVE, those below 0 straight on: a square root where light is more than this, and linear
 * below, where means of noise would otherwise come out too dark.
 */
export const CURVE = 0.02;
const ROOT = Math.sqrt(CURVE);

/** Without a difference of two roots, which would lose the small ones. */
export const onCurve = (value: number): number =>
  value < 0 ? value / (2 * ROOT) : value / (Math.sqrt(value + CURVE) + ROOT);
export const offCurve = (curved: number): number => curved * (2 * ROOT + Math.max(curved, 0));

interface Way {
  readonly rows: 0 | 1 | 2;
  readonly columns: 0 | 1 | 2;
}
const across: Way = { rows: 0, columns: 1 };
const down: Way = { rows: 1, columns: 0 };

/** The two values that lie before and behind a place, one way, added. */
const pair = (way: Way, read: Read, row: number, column: number): number =>
  read(row - way.rows, column - way.columns) + read(row + way.rows, column + way.columns);

export function fine(linearMosaic: Mosaic): Pixels {
  const { r, g, b } = directed({ ...linearMosaic, values: linearMosaic.values.map(onCurve) });
  return { r: r.map(offCurve), g: g.map(offCurve), b: b.map(offCurve) };
}

/** On the curve. */
function directed(mosaic: Mosaic): Pixels {
  const { pattern } = mosaic;
  const seen = readMosaic(mosaic);
  const isGreen = (row: number, column: number): boolean => channelAt(pattern, row, column) === 1;
  const at = (margin: number, value: Read): Read => computed(mosaic, margin, value);

  // Green of a pixel of red or blue one way, and what its own value has more than green.
  const directional = (way: Way, beyond: Way): Read => {
    return (row, column) => {
      const [before, behind] = [
        seen(row - way.rows, column - way.columns),
        seen(row + way.rows, column + way.columns),
      ];
      const reach = BEYOND * Math.abs(before - behind);
      const value = (before + behind) / 2 + (2 * seen(row, column) - pair(beyond, seen, row, column)) / 4;
      return Math.min(Math.max(value, Math.min(before, behind) - reach), Math.max(before, behind) + reach);
    };
  };
  const greenAcross = at(12, directional(across, { rows: 0, columns: 2 }));
  const greenDown = at(12, directional(down, { rows: 2, columns: 0 }));
  const differenceAcross: Read = (row, column) => seen(row, column) - greenAcross(row, column);
  const differenceDown: Read = (row, column) => seen(row, column) - greenDown(row, column);
  // How much the difference changes between the two pixels of one colour around a point, one way.
  const changeAcross: Read = (row, column) =>
    Math.abs(differenceAcross(row, column - 1) - differenceAcross(row, column + 1));
  const changeDown: Read = (row, column) =>
    Math.abs(differenceDown(row - 1, column) - differenceDown(row + 1, column));
  /** All such changes around a pixel, as they lie in its window of 5 x 5. */
  const unrestAcross: Read = (row, column) =>
    MIDDLE * pair(across, changeAcross, row, column) +
    pair(down, changeAcross, row, column) +
    pair(across, changeAcross, row - 2, column) +
    pair(across, changeAcross, row + 2, column);
  const unrestDown: Read = (row, column) =>
    MIDDLE * pair(down, changeDown, row, column) +
    pair(across, changeDown, row, column) +
    pair(down, changeDown, row, column - 2) +
    pair(down, changeDown, row, column + 2);
  /** How steep green is around a pixel of red or blue, one way, and how much its own colour bends. */
  const steepness = (way: Way, beyond: Way): Read => {
    return (row, column) =>
      Math.abs(seen(row - way.rows, column - way.columns) - seen(row + way.rows, column + way.columns)) +
      Math.abs(2 * seen(row, column) - pair(beyond, seen, row, column));
  };
  const steepAcross = steepness(across, { rows: 0, columns: 2 });
  const steepDown = steepness(down, { rows: 2, columns: 0 });
  /** How much the way across counts at a pixel of red or blue, 0 to 1; the way down has the rest. */
  const partAcross = at(8, (row, column) => {
    const [calmAcross, calmDown] = [
      (unrestDown(row, column) + steepDown(row, column) + LEAST) ** 3,
      (unrestAcross(row, column) + steepAcross(row, column) + LEAST) ** 3,
    ];
    return calmAcross / (calmAcross + calmDown);
  });
  const byParts = (row: number, column: number, onAcross: number, onDown: number): number =>
    partAcross(row, column) * onAcross + (1 - partAcross(row, column)) * onDown;

  const firstGreen = at(8, (row, column) =>
    isGreen(row, column)
      ? seen(row, column)
      : byParts(row, column, greenAcross(row, column), greenDown(row, column)),
  );
  /** At green pixels: the colour of the row, and that of the rows above and below, by differences to a green plane where green tells of them. */
  const beside = (green: Read, way: Way): Read => {
    return (row, column) => {
      const [rowBefore, columnBefore] = [row - way.rows, column - way.columns];
      const [rowBehind, columnBehind] = [row + way.rows, column + way.columns];
      const [before, behind] = [seen(rowBefore, columnBefore), seen(rowBehind, columnBehind)];
      const differenceBefore = before - green(rowBefore, columnBefore);
      const differenceBehind = behind - green(rowBehind, columnBehind);
      const byDifferences = seen(row, column) + (differenceBefore + differenceBehind) / 2;
      const loose = APART * (differenceBefore - differenceBehind) ** 2;
      const own = (Math.abs(before - behind) + FLAT) ** 2;
      return byDifferences + (loose / (loose + own)) * ((before + behind) / 2 - byDifferences);
    };
  };
  const rowColour = at(6, beside(firstGreen, across));
  const columnColour = at(6, beside(firstGreen, down));
  /** Mean of the two neighbours of a pixel, each way by its part. */
  const between = (row: number, column: number, onAcross: Read, onDown: Read): number =>
    byParts(row, column, pair(across, onAcross, row, column) / 2, pair(down, onDown, row, column) / 2);
  /** At a pixel of red or blue, from its green neighbours: the third colour less its own, which they have from the row when they stand across, from the column when they stand above and below. */
  const thirdLessOwn =
    (inRow: Read, inColumn: Read): Read =>
    (row, column) =>
      between(
        row,
        column,
        (y, x) => inColumn(y, x) - inRow(y, x),
        (y, x) => inRow(y, x) - inColumn(y, x),
      );

  const firstThird = at(
    4,
    (row, column) => seen(row, column) + thirdLessOwn(rowColour, columnColour)(row, column),
  );
  const green = at(4, (row, column) => {
    if (isGreen(row, column)) return seen(row, column);
    const ofNeighbours = between(
      row,
      column,
      (y, x) => rowColour(y, x) - seen(y, x),
      (y, x) => columnColour(y, x) - seen(y, x),
    );
    return (
      seen(row, column) - (NEIGHBOURS * ofNeighbours + OWN * (seen(row, column) - firstGreen(row, column)))
    );
  });
  const refinedRowColour = at(2, beside(green, across));
  const refinedColumnColour = at(2, beside(green, down));
  const third = at(
    0,
    (row, column) =>
      seen(row, column) +
      NEIGHBOURS * thirdLessOwn(refinedRowColour, refinedColumnColour)(row, column) +
      OWN * (firstThird(row, column) - seen(row, column)),
  );

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
