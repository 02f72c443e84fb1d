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
  /** Where one field stands for both: how far a picture in its place seems to lie beside it, across its lines, cells. Absent: frames are whole. */
  readonly beside?: { readonly along: 'right' | 'down'; readonly cells: number };
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

const TERMS = 5;
/** Cells across and down of a block: what a codec does to a picture hangs together within one. */
const BLOCK = 4;
const BLOCKS_ACROSS = Math.ceil(GRID_WIDTH / BLOCK);
const BLOCKS = BLOCKS_ACROSS * Math.ceil(GRID_HEIGHT / BLOCK);

interface Fit {
  /** Offset, gain, right, down, growth: of what is left of the picture once its usual levels are taken off. */
  readonly answer: readonly number[];
  /** Standard error of each. */
  readonly errors: readonly number[];
}

/** Calls `each` with the terms of every cell that is seen, and what is left there. Terms are only valid during the call. */
function eachCell(
  { source, output, seen, levels }: PlacementRequest,
  frames: readonly number[],
  each: (terms: Float64Array, rest: number, block: number) => void,
): void {
  const terms = new Float64Array(TERMS);
  for (const frame of frames) {
    const luma = source(frame);
    const value = (row: number, column: number): number => luma[row * GRID_WIDTH + column] as number;
    for (let row = 1; row < GRID_HEIGHT - 1; row += 1) {
      for (let column = 1; column < GRID_WIDTH - 1; column += 1) {
        const cell = row * GRID_WIDTH + column;
        if (seen[cell] !== 1) continue;
        const across = (levels.gain * (value(row, column + 1) - value(row, column - 1))) / 2;
        const down = (levels.gain * (value(row + 1, column) - value(row - 1, column))) / 2;
        const grown = across * (column + 0.5 - GRID_WIDTH / 2) + down * (row + 0.5 - GRID_HEIGHT / 2);
        terms.set([1, value(row, column) / 65536, -across, -down, -grown]);
        const rest =
          (output[frame * CELLS + cell] as number) - levels.offset - levels.gain * value(row, column);
        each(terms, rest, Math.floor(row / BLOCK) * BLOCKS_ACROSS + Math.floor(column / BLOCK));
      }
    }
  }
}

/**
 * Least squares over all cells of these frames; null: the pictures have too little in them. Errors are the larger of two. The
 * usual one takes cells as independent, though not frames: what a codec does to a still picture is the same in every frame.
 * The other takes only blocks of cells as independent (the sandwich estimator of clustered errors: K.-Y. Liang and S. L. Zeger,
 * Longitudinal data analysis using generalized linear models, Biometrika 73, 1986): where a picture is cut off at white, or
 * nearly flat, what is left of it hangs together over many cells, and no move explains all of it.
 */
function leastSquares(request: PlacementRequest, frames: readonly number[]): Fit | null {
  const matrix = Array.from({ length: TERMS }, () => new Array<number>(TERMS).fill(0));
  const right = new Array<number>(TERMS).fill(0);
  let counted = 0;
  eachCell(request, frames, (terms, rest) => {
    counted += 1;
    for (let a = 0; a < TERMS; a += 1) {
      right[a] = (right[a] as number) + (terms[a] as number) * rest;
      for (let b = 0; b < TERMS; b += 1)
        (matrix[a] as number[])[b] = (matrix[a]?.[b] as number) + (terms[a] as number) * (terms[b] as number);
    }
  });
  const gradient = (term: 2 | 3): number =>
    Math.sqrt((matrix[term]?.[term] as number) / Math.max(1, counted));
  const answer = gradient(2) < GRADIENT || gradient(3) < GRADIENT ? null : solve(matrix, right);
  if (answer === null) return null;
  let left = 0;
  const scores = Array.from({ length: BLOCKS }, () => new Float64Array(TERMS));
  const filled = new Set<number>();
  eachCell(request, frames, (terms, rest, block) => {
    let misfit = rest;
    for (let a = 0; a < TERMS; a += 1) misfit -= (terms[a] as number) * (answer[a] as number);
    left += misfit * misfit;
    filled.add(block);
    const score = scores[block] as Float64Array;
    for (let a = 0; a < TERMS; a += 1) score[a] = (score[a] as number) + (terms[a] as number) * misfit;
  });
  const errorOf = (term: number): number => {
    const inverse = solve(
      matrix,
      matrix.map((_, row) => (row === term ? 1 : 0)),
    );
    if (inverse === null) return Number.POSITIVE_INFINITY;
    const byCells = (left / counted) * frames.length * Math.max(0, inverse[term] as number);
    const byBlocks = scores.reduce((sum, score) => {
      const one = score.reduce((total, value, a) => total + value * (inverse[a] as number), 0);
      return sum + one * one;
    }, 0);
    return Math.sqrt(Math.max(byCells, (byBlocks * filled.size) / Math.max(1, filled.size - 1)));
  };
  return { answer, errors: answer.map((_, term) => errorOf(term)) };
}

/**
 * Move and growth that explain the residual best, by least squares over all frames looked at: a small move changes a
 * picture by its gradient, a small growth by its gradient times the distance from the middle.
 */
export function placementOf(request: PlacementRequest): Placement {
  const { views, cellPixels, beside = { along: 'down', cells: 0 } } = request;
  const fitted = leastSquares(request, spread(request.frames));
  if (fitted === null) return { right: 0, down: 0, scale: 1, displaced: false };
  const [, , right, down, growth] = fitted.answer as [number, number, number, number, number];
  const x = beside.along === 'right' ? right - beside.cells : right;
  const y = beside.along === 'down' ? down - beside.cells : down;
  const isSure = {
    right: views === 1 || beside.along !== 'right',
    down: views === 1 || beside.along !== 'down',
  };
  /** `pixels`: of one unit of `value`. */
  const sure = (value: number, pixels: number, most: number, term: 2 | 3 | 4): boolean =>
    Math.abs(value) * pixels > most && Math.abs(value) > CERTAIN.times * (fitted.errors[term] as number);
  const { width, height } = cellPixels;
  // Half a delivered pixel is what a scaler may round by. What a deinterlacer makes of one field may lie by half a line of the source elsewhere.
  const moved =
    Math.abs(x) > Math.max(MOVED_CELLS, CERTAIN.moved / width) ||
    Math.abs(y) > Math.max(MOVED_CELLS, CERTAIN.moved / height) ||
    (isSure.right && sure(x, width, CERTAIN.moved, 2)) ||
    (isSure.down && sure(y, height, CERTAIN.moved, 3));
  const grown =
    Math.abs(growth) > GROWN ||
    sure(growth, Math.max((width * GRID_WIDTH) / 2, (height * GRID_HEIGHT) / 2), CERTAIN.grown, 4);
  return { right: x, down: y, scale: 1 + growth, displaced: moved || grown };
}
