/** Whether the delivered picture lies where it should: the right way round, not moved, not enlarged. Pure. */
import { CELLS, GRID_HEIGHT, GRID_WIDTH } from './form.ts';
import type { Levels } from './gain.ts';

/** Frames that are looked at, spread over the clip. */
const LOOKED_AT = 48;
const turns = ['mirrored', 'upside down', 'turned by 180 degrees'] as const;
export type Turn = (typeof turns)[number];

/** Beyond these a move or growth is no scaler's or codec's own, cells and parts of the whole: 0.06 cells are 4 pixels of 1920. Half a pixel of a small picture is more. */
const MOVED_CELLS = 0.06;
const GROWN = 0.012;
/**
 * Less counts where it is sure: so many delivered pixels, at the edge if the picture has grown, and so many times its standard error. Intact pictures
 * lie within 0.4 pixels of their place, and within 1.8 at the edge, that one by 4 standard errors; measured on 210 deliverables, widths of 256 to 1920.
 */
const CERTAIN = { moved: 0.75, grown: 1.2, times: 6 } as const;
/** Where cells differ from the next by less than this across or down (root mean square), a move cannot be told. */
const GRADIENT = 150;
/** What a turned picture must fit better than the upright one before it counts, mean squares. */
const FITS_BETTER = 0.5;

export interface Placement {
  /** Of the delivered picture against where it should lie, cells; positive: right, down. */
  readonly right: number;
  readonly down: number;
  /** 1: as large as it should be. */
  readonly scale: number;
  readonly displaced: boolean;
}

export interface PlacementRequest {
  /** CELLS of luma of a source frame, by the matrix of what was delivered. */
  readonly source: (frame: number) => Uint16Array;
  readonly output: Uint16Array;
  /** Of the source: 2 where each field was seen apart. */
  readonly views: number;
  readonly seen: Uint8Array;
  readonly levels: Levels;
  /** Frames known to be in their place. */
  readonly frames: readonly number[];
  /** How far down a picture in its place seems to lie, cells: not 0 where one field stands for both. Default 0. */
  readonly down?: number;
  /** Delivered pixels across and down of one cell. */
  readonly cellPixels: { readonly width: number; readonly height: number };
}

function spread(frames: readonly number[]): number[] {
  const step = Math.max(1, Math.floor(frames.length / LOOKED_AT));
  return frames.filter((_, index) => index % step === 0).slice(0, LOOKED_AT);
}

const turned: Readonly<Record<Turn, (row: number, column: number) => number>> = {
  mirrored: (row, column) => row * GRID_WIDTH + (GRID_WIDTH - 1 - column),
  'upside down': (row, column) => (GRID_HEIGHT - 1 - row) * GRID_WIDTH + column,
  'turned by 180 degrees': (row, column) => (GRID_HEIGHT - 1 - row) * GRID_WIDTH + (GRID_WIDTH - 1 - column),
};

/** Sum of squares of delivered cells against source cells under a turn, over frames in their place, each centred on its mean. */
function misfit(
  request: PlacementRequest,
  frames: readonly number[],
  at: (row: number, column: number) => number,
): number {
  const { source, output, seen, levels } = request;
  let sum = 0;
  for (const frame of frames) {
    const luma = source(frame);
    let total = 0;
    let squares = 0;
    let cells = 0;
    for (let row = 0; row < GRID_HEIGHT; row += 1) {
      for (let column = 0; column < GRID_WIDTH; column += 1) {
        const cell = row * GRID_WIDTH + column;
        if (seen[cell] !== 1) continue;
        const rest =
          (output[frame * CELLS + cell] as number) - levels.gain * (luma[at(row, column)] as number);
        total += rest;
        squares += rest * rest;
        cells += 1;
      }
    }
    if (cells > 0) sum += squares - (total * total) / cells;
  }
  return sum;
}

/** The turn under which the pictures fit much better than upright; null: upright, or symmetrical. Frames need not be known to be in place. */
export function turnOf(request: PlacementRequest): Turn | null {
  const frames = spread(request.frames);
  const upright = misfit(request, frames, (row, column) => row * GRID_WIDTH + column);
  let best: { turn: Turn | null; misfit: number } = { turn: null, misfit: upright * FITS_BETTER };
  for (const turn of turns) {
    const found = misfit(request, frames, turned[turn]);
    if (found < best.misfit) best = { turn, misfit: found };
  }
  return best.turn;
}

/** Solves a small symmetric system by Gaussian elimination with pivots; null when it has no single answer. */
function solve(matrix: readonly (readonly number[])[], right: readonly number[]): number[] | null {
  const rows = matrix.map((row, index) => [...row, right[index] as number]);
  const size = rows.length;
  for (let pivot = 0; pivot < size; pivot += 1) {
    let most = pivot;
    for (let row = pivot + 1; row < size; row += 1)
      if (Math.abs(rows[row]?.[pivot] as number) > Math.abs(rows[most]?.[pivot] as number)) most = row;
    [rows[pivot], rows[most]] = [rows[most] as number[], rows[pivot] as number[]];
    const head = rows[pivot] as number[];
    if (Math.abs(head[pivot] as number) < 1e-9) return null;
    for (let row = 0; row < size; row += 1) {
      if (row === pivot) continue;
      const line = rows[row] as number[];
      const factor = (line[pivot] as number) / (head[pivot] as number);
      for (let column = pivot; column <= size; column += 1)
        line[column] = (line[column] as number) - factor * (head[column] as number);
    }
  }
  return rows.map((row, index) => (row[size] as number) / (row[index] as number));
}

/**
 * Move and growth that explain the residual best, by least squares over all frames looked at: a small move changes a
 * picture by its gradient, a small growth by its gradient times the distance from the middle.
 */
export function placementOf(request: PlacementRequest): Placement {
  const { source, output, views, seen, levels, cellPixels } = request;
  const matrix = Array.from({ length: 5 }, () => new Array<number>(5).fill(0));
  const right = new Array<number>(5).fill(0);
  let counted = 0;
  let rests = 0;
  const looked = spread(request.frames);
  for (const frame of looked) {
    const luma = source(frame);
    const value = (row: number, column: number): number => luma[row * GRID_WIDTH + column] as number;
    for (let row = 1; row < GRID_HEIGHT - 1; row += 1) {
      for (let column = 1; column < GRID_WIDTH - 1; column += 1) {
        const cell = row * GRID_WIDTH + column;
        if (seen[cell] !== 1) continue;
        const across = (levels.gain * (value(row, column + 1) - value(row, column - 1))) / 2;
        const down = (levels.gain * (value(row + 1, column) - value(row - 1, column))) / 2;
        const grown = across * (column + 0.5 - GRID_WIDTH / 2) + down * (row + 0.5 - GRID_HEIGHT / 2);
        const terms = [1, value(row, column) / 65536, -across, -down, -grown];
        const rest =
          (output[frame * CELLS + cell] as number) - levels.offset - levels.gain * value(row, column);
        counted += 1;
        rests += rest * rest;
        for (let a = 0; a < 5; a += 1) {
          right[a] = (right[a] as number) + (terms[a] as number) * rest;
          for (let b = 0; b < 5; b += 1)
            (matrix[a] as number[])[b] =
              (matrix[a]?.[b] as number) + (terms[a] as number) * (terms[b] as number);
        }
      }
    }
  }
  const gradient = (term: 2 | 3): number =>
    Math.sqrt((matrix[term]?.[term] as number) / Math.max(1, counted));
  const answer = gradient(2) < GRADIENT || gradient(3) < GRADIENT ? null : solve(matrix, right);
  if (answer === null) return { right: 0, down: 0, scale: 1, displaced: false };
  const [, , x, found, growth] = answer as [number, number, number, number, number];
  const y = found - (request.down ?? 0);
  const left = Math.max(
    0,
    rests - answer.reduce((sum, value, term) => sum + value * (right[term] as number), 0),
  );
  // What a codec does to a still picture is the same in every frame: only cells count as independent.
  const errorOf = (term: 2 | 3 | 4): number =>
    Math.sqrt(
      (left / counted) *
        looked.length *
        Math.max(
          0,
          solve(
            matrix,
            matrix.map((_, row) => (row === term ? 1 : 0)),
          )?.[term] ?? Number.POSITIVE_INFINITY,
        ),
    );
  /** `pixels`: of one unit of `value`. */
  const sure = (value: number, pixels: number, most: number, term: 2 | 3 | 4): boolean =>
    Math.abs(value) * pixels > most && Math.abs(value) > CERTAIN.times * errorOf(term);
  const { width, height } = cellPixels;
  // Half a delivered pixel is what a scaler may round by. What a deinterlacer makes of one field may lie by half a line of the source elsewhere.
  const moved =
    Math.abs(x) > Math.max(MOVED_CELLS, CERTAIN.moved / width) ||
    Math.abs(y) > Math.max(MOVED_CELLS, CERTAIN.moved / height) ||
    sure(x, width, CERTAIN.moved, 2) ||
    (views === 1 && sure(y, height, CERTAIN.moved, 3));
  const grown =
    Math.abs(growth) > GROWN ||
    sure(growth, Math.max((width * GRID_WIDTH) / 2, (height * GRID_HEIGHT) / 2), CERTAIN.grown, 4);
  return { right: x, down: y, scale: 1 + growth, displaced: moved || grown };
}
