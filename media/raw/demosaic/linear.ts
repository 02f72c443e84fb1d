/**
 * Malvar, He, Cutler, "High-quality linear interpolation for demosaicing of Bayer-patterned color images", ICASSP 2004: bilinear
 * interpolation, corrected by the gradient of the colour that was seen, in one filter of 5 x 5 for each case (their figure 2).
 */
import {
  type Channel,
  channelAt,
  type Mosaic,
  type Pixels,
  pixelsOf,
  type Read,
  readMosaic,
} from './mosaic.ts';

type Filter = readonly (readonly [number, number, number, number, number])[];

/** Eighths. */
const GREEN_AT_COLOUR: Filter = [
  [0, 0, -1, 0, 0],
  [0, 0, 2, 0, 0],
  [-1, 2, 4, 2, -1],
  [0, 0, 2, 0, 0],
  [0, 0, -1, 0, 0],
];
/** The colour that stands left and right of a green pixel. */
const COLOUR_ACROSS_GREEN: Filter = [
  [0, 0, 0.5, 0, 0],
  [0, -1, 0, -1, 0],
  [-1, 4, 5, 4, -1],
  [0, -1, 0, -1, 0],
  [0, 0, 0.5, 0, 0],
];
/** The colour that stands above and below a green pixel: the same, turned. */
const COLOUR_ALONG_GREEN: Filter = [
  [0, 0, -1, 0, 0],
  [0, -1, 4, -1, 0],
  [0.5, 0, 5, 0, 0.5],
  [0, -1, 4, -1, 0],
  [0, 0, -1, 0, 0],
];
/** Blue where red was seen, and the other way round. */
const COLOUR_AT_OTHER: Filter = [
  [0, 0, -1.5, 0, 0],
  [0, 2, 0, 2, 0],
  [-1.5, 0, 6, 0, -1.5],
  [0, 2, 0, 2, 0],
  [0, 0, -1.5, 0, 0],
];

function filtered(read: Read, filter: Filter, row: number, column: number): number {
  let sum = 0;
  for (const [y, weights] of filter.entries())
    for (const [x, weight] of weights.entries())
      if (weight !== 0) sum += weight * read(row + y - 2, column + x - 2);
  return sum / 8;
}

function filterFor(wanted: Channel, seen: Channel, channelBeside: Channel): Filter {
  if (wanted === 1) return GREEN_AT_COLOUR;
  if (seen !== 1) return COLOUR_AT_OTHER;
  return channelBeside === wanted ? COLOUR_ACROSS_GREEN : COLOUR_ALONG_GREEN;
}

export function linear(mosaic: Mosaic): Pixels {
  const read = readMosaic(mosaic);
  return pixelsOf(mosaic, (row, column) => {
    const seen = channelAt(mosaic.pattern, row, column);
    const of = (wanted: Channel): number =>
      wanted === seen
        ? read(row, column)
        : filtered(read, filterFor(wanted, seen, channelAt(mosaic.pattern, row, column + 1)), row, column);
    return [of(0), of(1), of(2)];
  });
}
