/** From codes to linear sensor values (DNG specification, chapter 5): linearisation, black, white. Nothing is bounded: what lies above white stays above 1, noise below black below 0. */
import type { RawPicture } from '../../formats/dng/header.ts';
import type { Samples } from '../../formats/dng/decode.ts';
import { sizeOf } from './crop.ts';
import type { Triple } from './matrix.ts';
import { UndevelopableError } from './undevelopable.ts';

export type LevelTags = Pick<
  RawPicture,
  'width' | 'height' | 'activeArea' | 'pattern' | 'linearisation' | 'black' | 'white'
>;

export interface Levels {
  /** Of a code, before black; a code beyond the table takes its last entry. */
  readonly linear: (code: number) => number;
  /** Of a pixel of the active area. */
  readonly black: (row: number, column: number) => number;
  /** What is left between white and the highest black becomes 1: one scale for the whole plane, as the reference code of DNG has it. */
  readonly scale: number;
}

/** Samples of one pixel. */
export const samplesOf = ({ pattern }: Pick<RawPicture, 'pattern'>): 1 | 3 => (pattern === null ? 3 : 1);

/** The largest of each residue of `period`; 0 for those that have none. */
function largest(values: readonly number[] | null, count: number, period: number): number[] {
  const found = new Array<number>(period).fill(values === null ? 0 : Number.NEGATIVE_INFINITY);
  if (values === null) return found;
  for (let index = 0; index < count; index += 1)
    found[index % period] = Math.max(found[index % period] as number, values[index] as number);
  return found.map((value) => (Number.isFinite(value) ? value : 0));
}

/** Throws UndevelopableError where tables are too short for the picture, or white is not above black. */
/** `plane`: of red, green and blue, where every pixel has them; a mosaic has one. */
export function levelsOf(tags: LevelTags, plane: 0 | 1 | 2 = 0): Levels {
  const { activeArea, linearisation, black } = tags;
  const samples = samplesOf(tags);
  const white = typeof tags.white === 'number' ? tags.white : tags.white[plane];
  const { width, height } = sizeOf(activeArea);
  const { rows, columns, rowDeltas, columnDeltas } = black;
  const levels = black.levels.filter((_, index) => index % samples === plane % samples);
  if (levels.length !== rows * columns)
    throw new UndevelopableError(
      'levels',
      `${levels.length} black levels for a pattern of ${rows} x ${columns}`,
    );
  if (rowDeltas !== null && rowDeltas.length !== height)
    throw new UndevelopableError('levels', `black deltas of ${rowDeltas.length} rows for ${height}`);
  if (columnDeltas !== null && columnDeltas.length !== width)
    throw new UndevelopableError('levels', `black deltas of ${columnDeltas.length} columns for ${width}`);
  if (linearisation !== null && linearisation.length === 0)
    throw new UndevelopableError('levels', 'a linearisation table without an entry');
  const byRow = largest(rowDeltas, height, rows);
  const byColumn = largest(columnDeltas, width, columns);
  const highest = Math.max(
    ...levels.map(
      (level, index) =>
        level + (byRow[Math.floor(index / columns)] as number) + (byColumn[index % columns] as number),
    ),
  );
  if (!(white > highest)) throw new UndevelopableError('levels', `white ${white} over black ${highest}`);
  return {
    linear: (code) =>
      linearisation === null ? code : (linearisation[Math.min(code, linearisation.length - 1)] as number),
    black: (row, column) =>
      (levels[(row % rows) * columns + (column % columns)] as number) +
      (rowDeltas?.[row] ?? 0) +
      (columnDeltas?.[column] ?? 0),
    scale: 1 / (white - highest),
  };
}

/** The mosaic of the active area in double precision, line by line, from the codes of the whole raw picture. The reference of the kernel. */
export function linearMosaic(tags: LevelTags, codes: Samples): Float64Array {
  const { linear, black, scale } = levelsOf(tags);
  const { width, height } = sizeOf(tags.activeArea);
  const mosaic = new Float64Array(width * height);
  for (let row = 0; row < height; row += 1) {
    for (let column = 0; column < width; column += 1) {
      const code = codes[(tags.activeArea.top + row) * tags.width + tags.activeArea.left + column] as number;
      mosaic[row * width + column] = (linear(code) - black(row, column)) * scale;
    }
  }
  return mosaic;
}

/** Red, green and blue of one pixel of the active area, where every pixel has them, in double precision. The reference of the kernel. */
export function linearPixels(tags: LevelTags, codes: Samples): (row: number, column: number) => Triple {
  const { top, left } = tags.activeArea;
  const of = ([0, 1, 2] as const).map((plane) => levelsOf(tags, plane)) as [Levels, Levels, Levels];
  return (row, column) => {
    const at = ((top + row) * tags.width + left + column) * 3;
    const value = (plane: 0 | 1 | 2): number => {
      const { linear, black, scale } = of[plane];
      return (linear(codes[at + plane] as number) - black(row, column)) * scale;
    };
    return [value(0), value(1), value(2)];
  };
}
