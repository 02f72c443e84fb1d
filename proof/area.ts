/** Area averages of a plane in memory, as fingerprints have them (form.ts): what a tap takes inside an ffmpeg graph, taken where there is none. */

export interface Grid {
  readonly columns: number;
  readonly rows: number;
}

/** First and last sample of each cell along one side, and how much of either lies in it, in parts of which a whole sample has `cells`. */
export interface Cuts {
  readonly first: Int32Array;
  readonly last: Int32Array;
  readonly ofFirst: Int32Array;
  readonly ofLast: Int32Array;
}

export function cutsOf(side: number, cells: number): Cuts {
  const cuts = {
    first: new Int32Array(cells),
    last: new Int32Array(cells),
    ofFirst: new Int32Array(cells),
    ofLast: new Int32Array(cells),
  };
  for (let cell = 0; cell < cells; cell += 1) {
    // Sample s reaches from s * cells to (s + 1) * cells, cell c from c * side to (c + 1) * side: all whole numbers.
    const from = cell * side;
    const to = from + side;
    const first = Math.floor(from / cells);
    const last = Math.ceil(to / cells) - 1;
    cuts.first[cell] = first;
    cuts.last[cell] = last;
    cuts.ofFirst[cell] = Math.min(to, (first + 1) * cells) - from;
    cuts.ofLast[cell] = first === last ? 0 : to - last * cells;
  }
  return cuts;
}

/** A plane, and what a line of it gives to each cell: samples by their parts, of which a whole one has as many as there are columns. */
export interface CellLines {
  readonly width: number;
  readonly height: number;
  /** Of a sample. */
  readonly bits: number;
  readonly grid: Grid;
  /** A value for each column; read before the next line is asked for. */
  line(y: number): Float64Array;
}

/**
 * `plane`: width x height samples of `bits` bits, row by row. Out comes a value for each cell, row by row, where a code value v
 * stands as v * 2^(16 - bits), rounded half up; a sample that lies in several cells counts in each by its part.
 */
export function areaAverages(
  plane: Uint16Array,
  { width, height }: { readonly width: number; readonly height: number },
  bits: number,
  grid: Grid,
): Uint16Array {
  if (plane.length !== width * height)
    throw new RangeError(`a plane of ${plane.length} samples instead of ${width * height}`);
  const { columns } = grid;
  const across = cutsOf(width, columns);
  const cells = new Float64Array(columns);
  function line(y: number): Float64Array {
    const at = y * width;
    for (let cell = 0; cell < columns; cell += 1) {
      const first = across.first[cell] as number;
      const last = across.last[cell] as number;
      let middle = 0;
      for (let x = first + 1; x < last; x += 1) middle += plane[at + x] as number;
      cells[cell] =
        (plane[at + first] as number) * (across.ofFirst[cell] as number) +
        middle * columns +
        (plane[at + last] as number) * (across.ofLast[cell] as number);
    }
    return cells;
  }
  return averagesOfLines({ width, height, bits, grid, line });
}

/** `areaAverages`, whatever adds up the lines. */
export function averagesOfLines({ width, height, bits, grid, line }: CellLines): Uint16Array {
  const { columns, rows } = grid;
  const down = cutsOf(height, rows);
  const sums = new Float64Array(columns * rows);
  let row = 0;
  for (let y = 0; y < height; y += 1) {
    const cells = line(y);
    while ((down.last[row] as number) < y) row += 1;
    // A line may lie in several rows of cells, where there are more of them than lines.
    for (let cellRow = row; cellRow < rows && (down.first[cellRow] as number) <= y; cellRow += 1) {
      const part =
        y === down.first[cellRow]
          ? (down.ofFirst[cellRow] as number)
          : y === down.last[cellRow]
            ? (down.ofLast[cellRow] as number)
            : rows;
      for (let cell = 0; cell < columns; cell += 1)
        sums[cellRow * columns + cell] =
          (sums[cellRow * columns + cell] as number) + part * (cells[cell] as number);
    }
  }
  // Every cell has an area of width x height such parts.
  const scale = 2 ** (16 - bits) / (width * height);
  return Uint16Array.from(sums, (sum) => Math.floor(sum * scale + 0.5));
}
