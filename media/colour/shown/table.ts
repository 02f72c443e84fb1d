/**
 * A colour way as a table in space: what pictures go through, a cache of the exact way (way.ts) that is made of it and of nothing else.
 *
 * R'G'B' of 14 bits go through a curve that spreads the places of the table, and then into space between tetrahedra. Places at equal distances of
 * logarithmic codes alone are too few where light changes fast, and too many in highlights that all come out nearly white. So half of the distance is
 * that of the codes, and half that of the light that a grey becomes, as PQ signal. What a table differs by is measured in test/colour/shown-table.test.ts.
 */
import { createHash } from 'node:crypto';
import { SHOWN_BITS } from '../acescct.ts';
import { encode } from '../curves.ts';
import { type Display, encodings } from '../output/displays.ts';
import type { Triple } from '../matrix.ts';
import type { Showing } from './way.ts';

/** The greatest code. */
const MOST = 2 ** SHOWN_BITS - 1;
/** What the greatest code of the scaler's R'G'B' means: its white is 255 of 256 parts, and codes go a little beyond. */
export const SCALED_END = MOST / (255 * 2 ** (SHOWN_BITS - 8));

/** Places along each side. The tone curve and the limits of ACES 1 have sharp corners. */
export const sizeOf = (version: 'aces-1' | 'aces-2'): number => (version === 'aces-1' ? 97 : 65);
const PART_OF_LIGHT = 0.5;

export interface WayTable {
  /** By code: where along a side of the table it lies, in codes. */
  readonly spread: Uint16Array;
  readonly size: number;
  /** R, G, B of each place, red fastest; 0 to 1, in whole ten-millionths, so that the digits of its file say all of it. */
  readonly values: Float32Array;
}

export interface BakeRequest {
  readonly showing: Showing;
  readonly display: Display;
  /** R'G'B' that the greatest code means; the least means 0. */
  readonly end: number;
  readonly size: number;
}

const DIGITS = 7;
const inDigits = (value: number): number => Math.round(Math.min(Math.max(value, 0), 1) * 10 ** DIGITS);

/**
 * Places 0 to 1 over the codes, ascending, so that equal distances are worth about the same. Where a grey begins to leave black, and where it comes to its end,
 * the way has corners: a place of the table lies there.
 */
function placesOf({ showing, display, end, size }: BakeRequest): Float64Array {
  const { luminance } = encodings[display];
  const signals = Float64Array.from({ length: MOST + 1 }, (_, code) => {
    const grey = (code * end) / MOST;
    const [r, g, b] = showing([grey, grey, grey]);
    return encode({ name: 'pq', nits_of_one: 1 }, luminance(Math.min(Math.max((r + g + b) / 3, 0), 1)));
  });
  // A look may turn a ramp back: places never do.
  for (let code = 1; code <= MOST; code += 1)
    signals[code] = Math.max(signals[code] as number, signals[code - 1] as number);
  const [first, last] = [signals[0] as number, signals[MOST] as number];
  // Where all is one colour there is no light to go by.
  if (last <= first) return signals.map((_, code) => code / MOST);
  const black = Math.max(0, signals.findIndex((signal) => signal > first) - 1);
  const white = signals.findIndex((signal) => signal >= last);
  const step = 1 / (size - 1);
  const [low, high] = [black > 0 ? step : 0, white < MOST ? 1 - step : 1];
  return signals.map((signal, code) => {
    if (code <= black) return black === 0 ? 0 : (low * code) / black;
    if (code >= white) return white === MOST ? 1 : high + ((1 - high) * (code - white)) / (MOST - white);
    const part =
      (1 - PART_OF_LIGHT) * ((code - black) / (white - black)) +
      (PART_OF_LIGHT * (signal - first)) / (last - first);
    return low + (high - low) * part;
  });
}

/** The code that lies at a place, with its fraction. */
function codeAt(places: Float64Array, place: number): number {
  let [below, above] = [0, MOST];
  while (above - below > 1) {
    const middle = (below + above) >> 1;
    if ((places[middle] as number) <= place) below = middle;
    else above = middle;
  }
  const [from, to] = [places[below] as number, places[above] as number];
  return below + (to > from ? Math.min((place - from) / (to - from), 1) : 0);
}

export function bakeTable(request: BakeRequest): WayTable {
  const { showing, end, size } = request;
  const places = placesOf(request);
  const axis = Array.from({ length: size }, (_, at) => (codeAt(places, at / (size - 1)) * end) / MOST);
  const values = new Float32Array(3 * size ** 3);
  let into = 0;
  for (const blue of axis)
    for (const green of axis)
      for (const red of axis) {
        const shown: Triple = showing([red, green, blue]);
        for (const value of shown) values[into++] = inDigits(value) / 10 ** DIGITS;
      }
  return { spread: Uint16Array.from(places, (place) => Math.round(MOST * place)), size, values };
}

export interface TableFiles {
  /** Both in the form of .cube files: the curve, and the table in space. */
  readonly spread: string;
  readonly space: string;
  /** SHA-256 of both, in order: what a table is named by. */
  readonly sha256: string;
}

export function tableFiles({ spread, size, values }: WayTable): TableFiles {
  // The filter cuts fractions off: half a code more is what it gives whole.
  const lines = Array.from(spread, (code) => {
    const value = decimal(inDigits((code + 0.5) / MOST));
    return `${value} ${value} ${value}`;
  });
  const space = [`LUT_3D_SIZE ${size}`];
  const digits = (at: number): string => decimal(Math.round((values[at] as number) * 10 ** DIGITS));
  for (let at = 0; at < values.length; at += 3)
    space.push(`${digits(at)} ${digits(at + 1)} ${digits(at + 2)}`);
  const files = {
    spread: `LUT_1D_SIZE ${spread.length}\n${lines.join('\n')}\n`,
    space: `${space.join('\n')}\n`,
  };
  return { ...files, sha256: createHash('sha256').update(files.spread).update(files.space).digest('hex') };
}

const ONE = 10 ** DIGITS;
const decimal = (digits: number): string =>
  digits >= ONE ? '1' : `0.${String(digits).padStart(DIGITS, '0')}`;
