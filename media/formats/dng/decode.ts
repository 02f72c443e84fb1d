/** From the bytes of a DNG file to the code values of its sensor, in plain TypeScript. The kernel's wrapper (kernel.ts) does the same, faster. */
import { StillDamage } from '../still.ts';
import type { DngFrame } from './header.ts';
import type { RawPiece } from '../tiff/pieces.ts';
import { readLosslessHeader } from './jpeg-header.ts';
import { decodeLossless } from './lossless-jpeg.ts';
import { packingOf, unpackRow } from './packed.ts';

export const ownCompressions = ['none', 'lossless-jpeg'] as const;

/** Why this frame is for another decoder; null when it is not. */
export function notOurs(frame: Pick<DngFrame, 'storage'>): string | null {
  const { compression, compressionNumber, bitsPerSample } = frame.storage;
  if (!(ownCompressions as readonly string[]).includes(compression))
    return `compression ${compressionNumber} (${compression})`;
  const [least, most] = compression === 'none' ? [8, 16] : [2, 16];
  return bitsPerSample < least || bitsPerSample > most ? `${bitsPerSample} bits a sample` : null;
}

/** For people, counted from 1. */
export function pieceName(frame: Pick<DngFrame, 'storage' | 'picture'>, index: number): string {
  const piece = frame.storage.pieces[index] as RawPiece;
  return `piece ${index + 1} of ${frame.storage.pieces.length}, at column ${piece.left} and row ${piece.top}`;
}

/** Says in which piece the damage is. */
export function inPiece<T>(frame: DngFrame, index: number, decode: () => T): T {
  try {
    return decode();
  } catch (error) {
    if (!(error instanceof StillDamage)) throw error;
    throw new StillDamage(`${pieceName(frame, index)}: ${error.message}`);
  }
}

/** The piece's bytes in a whole file. */
export function bytesOf(file: Buffer, piece: RawPiece): Buffer {
  if (piece.offset + piece.bytes > file.length)
    throw new StillDamage(`${file.length} bytes, the piece ends at ${piece.offset + piece.bytes}`);
  return file.subarray(piece.offset, piece.offset + piece.bytes);
}

/** Only the total counts: a row of the picture is often half as long in two components (DNG specification, Compression). */
export function requireSamples(
  header: { lines: number; samplesPerLine: number; components: number },
  piece: RawPiece,
): void {
  const { lines, samplesPerLine, components } = header;
  if (lines * samplesPerLine * components !== piece.width * piece.height)
    throw new StillDamage(
      `a JPEG picture of ${samplesPerLine}x${lines} in ${components} components for ${piece.width}x${piece.height} samples`,
    );
}

/** Codes of more bits than stated cannot be told from damage. */
export function requireBits(samples: Uint16Array, bits: number): void {
  const most = 2 ** bits - 1;
  for (const sample of samples)
    if (sample > most) throw new StillDamage(`code value ${sample} in a picture of ${bits} bits`);
}

/** A sample takes a bit at least, whatever the compression: a raster that its pieces cannot hold is damage, before room is made for it. Throws StillDamage. */
export function requireRoom({ picture: { width, height }, storage: { pieces } }: DngFrame): void {
  const bytes = pieces.reduce((sum, piece) => sum + piece.bytes, 0);
  if (width * height > 8 * bytes) throw new StillDamage(`a raster of ${width}x${height} in ${bytes} bytes`);
}

/**
 * Code values of the whole raw picture, row by row. `file`: all bytes of the file that `frame` was read from. Throws StillDamage
 * with the place for anything that is not whole, and RangeError for a frame that is not ours.
 */
export function decodeCfa(file: Buffer, frame: DngFrame): Uint16Array {
  const refused = notOurs(frame);
  if (refused !== null) throw new RangeError(refused);
  const { storage } = frame;
  const { width, height } = frame.picture;
  requireRoom(frame);
  const cfa = new Uint16Array(width * height);
  for (const [index, piece] of storage.pieces.entries()) {
    inPiece(frame, index, () => {
      const bytes = bytesOf(file, piece);
      const columns = Math.min(piece.width, width - piece.left);
      const rows = Math.min(piece.height, height - piece.top);
      const place = (row: number): number => (piece.top + row) * width + piece.left;
      if (storage.compression === 'none') {
        const packing = packingOf(storage, piece);
        for (let row = 0; row < rows; row += 1)
          unpackRow({ bytes, at: row * packing.rowBytes, packing, order: storage }, cfa, place(row), columns);
        return;
      }
      const header = readLosslessHeader(bytes);
      requireSamples(header, piece);
      const samples = decodeLossless(bytes, header);
      for (let row = 0; row < rows; row += 1)
        cfa.set(samples.subarray(row * piece.width, row * piece.width + columns), place(row));
    });
  }
  if (storage.compression === 'none') requireBits(cfa, storage.bitsPerSample);
  return cfa;
}
