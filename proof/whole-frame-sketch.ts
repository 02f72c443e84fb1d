/**
 * A whole frame in a few numbers: of every region and channel the sum of all values, each with a weight of its own that looks drawn
 * at random, an odd number from -255 to 255. The difference of two sketches is the sketch of the difference of the frames, and its square over the region's
 * pixels estimates their mean squared difference (Alon, Matias, Szegedy 1996, "The space complexity of approximating the
 * frequency moments"). Values are whole numbers here, so that equal frames have equal sketches, and one value that differs
 * makes another one. Sixteen that are all off by one step cancel out about once in a thousand times, more or larger ones less often.
 *
 * Which weight a pixel has is part of the record's form: another rule is another form.
 */
const SIDE = 8;
export const REGIONS = SIDE * SIDE;
const CHANNELS = 3;
/** Of a frame. */
export const SKETCH_VALUES = REGIONS * CHANNELS;

/** Root of the mean square of the weights. */
const WEIGHT = Math.sqrt((256 ** 2 - 1) / 3);

/** The finaliser of MurmurHash3 (public domain): 4 weights of 8 bits for 4 neighbours of a line. */
function weights(line: number, block: number): number {
  let h = (Math.imul(line, 0x9e3779b1) ^ block) >>> 0;
  h = Math.imul(h ^ (h >>> 16), 0x85ebca6b);
  h = Math.imul(h ^ (h >>> 13), 0xc2b2ae35);
  return h ^ (h >>> 16);
}

export interface Region {
  readonly left: number;
  readonly top: number;
  /** Not included. */
  readonly right: number;
  readonly bottom: number;
}

/** `region`: 0 to 63, row by row. */
export function regionAt(region: number, width: number, height: number): Region {
  const [column, row] = [region % SIDE, Math.floor(region / SIDE)];
  const cut = (side: number, at: number): number => Math.floor((at * side) / SIDE);
  return {
    left: cut(width, column),
    right: cut(width, column + 1),
    top: cut(height, row),
    bottom: cut(height, row + 1),
  };
}

/** Which row of regions each line is in. */
export function rowOfLine(height: number): Uint8Array {
  const rows = new Uint8Array(height);
  for (let row = 0; row < SIDE; row += 1) {
    const { top, bottom } = regionAt(row * SIDE, SIDE, height);
    rows.fill(row, top, bottom);
  }
  return rows;
}

/** Where each column of regions ends, from the left. */
export function columnEnds(width: number): Int32Array {
  return Int32Array.from({ length: SIDE }, (_, column) => regionAt(column, width, SIDE).right);
}

/** Takes a frame line by line; sums are modulo 2^32, so that their order and size do not matter. */
export class WholeFrameSketch {
  readonly #sums = new Int32Array(SKETCH_VALUES);
  readonly #rows: Uint8Array;
  readonly #cuts: Int32Array;

  constructor(width: number, height: number) {
    this.#rows = rowOfLine(height);
    this.#cuts = columnEnds(width);
  }

  begin(): void {
    this.#sums.fill(0);
  }

  /** `values` whole numbers of 32 bits, one for each pixel of the line; `channel` 0 to 2. */
  take(channel: number, y: number, values: ArrayLike<number>): void {
    const row = (this.#rows[y] as number) * SIDE;
    let x = 0;
    let block = -1;
    let bits = 0;
    for (let column = 0; column < SIDE; column += 1) {
      const end = this.#cuts[column] as number;
      let sum = 0;
      for (; x < end; x += 1) {
        if (x >> 2 !== block) {
          block = x >> 2;
          bits = weights(y, block);
        }
        const weight = (((bits >>> ((x & 3) << 3)) & 255) << 1) - 255;
        sum = (sum + Math.imul(values[x] as number, weight)) | 0;
      }
      const at = (row + column) * CHANNELS + channel;
      this.#sums[at] = ((this.#sums[at] as number) + sum) | 0;
    }
  }

  /** Of the frame so far; a copy. */
  sums(): Int32Array {
    return this.#sums.slice();
  }
}

export interface SketchDifference {
  /** Regions in which a channel differs. */
  readonly regions: number;
  /** The worst of them, and how far its pixels are off there: root of the mean square, in steps of the values. */
  readonly worst: Region;
  readonly steps: number;
}

/** Of a region's sum: an estimate of the sum of the squares of its values. */
export const sketchSquares = (sum: number): number => (sum / WEIGHT) ** 2;

/** null: equal. */
export function compareSketches(
  found: Int32Array,
  wanted: Int32Array,
  { width, height }: { readonly width: number; readonly height: number },
): SketchDifference | null {
  const differing = new Set<number>();
  let worst = 0;
  let steps = -1;
  for (let at = 0; at < SKETCH_VALUES; at += 1) {
    const off = ((found[at] as number) - (wanted[at] as number)) | 0;
    if (off === 0) continue;
    const region = Math.floor(at / CHANNELS);
    differing.add(region);
    const { left, right, top, bottom } = regionAt(region, width, height);
    const mean = Math.abs(off) / (WEIGHT * Math.sqrt(Math.max(1, (right - left) * (bottom - top))));
    if (mean > steps) [worst, steps] = [region, mean];
  }
  return differing.size === 0
    ? null
    : { regions: differing.size, worst: regionAt(worst, width, height), steps };
}
