/** Strips and tiles: where each lies in the file and in the picture (TIFF 6.0, sections 3 and 15). */
import { StillDamage } from '../still.ts';
import type { TiffDirectory } from './header.ts';
import { TAG } from './tags.ts';

/** One strip or tile: where its bytes are in the file, and where its samples belong in the raw picture. */
export interface RawPiece {
  readonly offset: number;
  readonly bytes: number;
  readonly left: number;
  readonly top: number;
  /** Pixels as stored: tiles at the edges are whole, and what lies beyond the picture is padding. */
  readonly width: number;
  readonly height: number;
}

/** A frame of 16384 x 16384 in tiles of 16 x 16; more is a damaged field. */
const MOST_PIECES = 1024 * 1024;

/** Throws StillDamage unless the pieces cover the picture. Their bytes are held against the file's length by the caller. */
export async function piecesOf(directory: TiffDirectory, width: number, height: number): Promise<RawPiece[]> {
  const tiled = directory.has(TAG.TileOffsets);
  const offsetTag = tiled ? TAG.TileOffsets : TAG.StripOffsets;
  const sizeTag = tiled ? TAG.TileByteCounts : TAG.StripByteCounts;
  const stored = Math.max(directory.count(offsetTag), directory.count(sizeTag));
  if (stored > MOST_PIECES) throw new StillDamage(`${stored} pieces of picture`);
  const [offsets, sizes] = [await directory.numbers(offsetTag), await directory.numbers(sizeTag)];
  if (offsets.length === 0 || offsets.length !== sizes.length)
    throw new StillDamage(`${offsets.length} pieces of picture with ${sizes.length} sizes`);
  const pieceWidth = tiled ? ((await directory.number(TAG.TileWidth)) ?? 0) : width;
  const pieceHeight = tiled
    ? ((await directory.number(TAG.TileLength)) ?? 0)
    : Math.min((await directory.number(TAG.RowsPerStrip)) ?? height, height);
  if (pieceWidth < 1 || pieceHeight < 1 || pieceWidth > 65_536 || pieceHeight > 65_536)
    throw new StillDamage(`pieces of ${pieceWidth}x${pieceHeight}`);
  const across = Math.ceil(width / pieceWidth);
  const needed = across * Math.ceil(height / pieceHeight);
  if (offsets.length !== needed)
    throw new StillDamage(
      `${offsets.length} pieces of ${pieceWidth}x${pieceHeight}, a picture of ${width}x${height} needs ${needed}`,
    );
  return offsets.map((offset, index) => {
    const top = Math.floor(index / across) * pieceHeight;
    return {
      offset,
      bytes: sizes[index] as number,
      left: (index % across) * pieceWidth,
      top,
      width: pieceWidth,
      height: tiled ? pieceHeight : Math.min(pieceHeight, height - top),
    };
  });
}
