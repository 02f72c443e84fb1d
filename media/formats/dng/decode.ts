/** From the bytes of a DNG file to the code values of its sensor, in plain TypeScript. The kernel's wrapper (kernel.ts) does the same, faster. */
import { StillDamage } from '../still.ts';
import type { DngFrame } from './header.ts';
import type { RawPiece } from '../tiff/pieces.ts';
import { readLosslessHeader } from './jpeg-header.ts';
import { decodeLossless } from './lossless-jpeg.ts';
import { type PackedSamples, packingOf, unpackRow } from './packed.ts';

export const ownCompressions = ['none', 'lossless-jpeg'] as const;

/** Why this frame is for another decoder; null when it is not. */
export function notOurs(frame: Pick<DngFrame, 'storage'>): string | null {
  const { compression, compressionNumber, bitsPerSample, float } = frame.storage;
  if (!(ownCompressions as readonly string[]).includes(compression))
    return `compression ${compressionNumber} (${compression})`;
  if (float)
    return compression !== 'none'
      ? `floating point in compression ${compressionNumber} (${compression})`
      : [16, 24, 32].includes(bitsPerSample)
        ? null
        : `${bitsPerSample} bits a floating-point sample`;
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

/** A piece of a picture of several samples a pixel, as one of so many times as many columns. */
export const inSamples = (piece: RawPiece, samples: number): RawPiece => ({
  ...piece,
  left: piece.left * samples,
  width: piece.width * samples,
});

/** As decoders give them: whole numbers, or floating point as stored. */
export type Samples = Uint16Array | Float32Array;

/** Throws StillDamage. */
export function requireFinite(samples: Float32Array): void {
  for (const [at, sample] of samples.entries())
    if (!Number.isFinite(sample)) throw new StillDamage(`sample ${at + 1} is ${sample}, which is no light`);
}

/**
 * A floating-point number from its bits: sign, exponent, fraction (IEEE 754 for 16 and 32 bits; DNG specification 1.4, SampleFormat, for 24:
 * 7 bits of exponent with a bias of 63 and 16 of fraction).
 */
export function floatOf(bits: number, size: 16 | 24 | 32): number {
  const [exponents, fractions] = ({ 16: [5, 10], 24: [7, 16], 32: [8, 23] } as const)[size];
  const sign = Math.floor(bits / 2 ** (size - 1)) === 1 ? -1 : 1;
  const exponent = Math.floor(bits / 2 ** fractions) % 2 ** exponents;
  const fraction = (bits % 2 ** fractions) / 2 ** fractions;
  const bias = 2 ** (exponents - 1) - 1;
  if (exponent === 2 ** exponents - 1) return fraction === 0 ? sign * Number.POSITIVE_INFINITY : Number.NaN;
  return exponent === 0 ? sign * fraction * 2 ** (1 - bias) : sign * (1 + fraction) * 2 ** (exponent - bias);
}

/** One row of floating-point samples from the byte at `at` on. */
function floatRow(
  bytes: Buffer,
  at: number,
  { packing: { bits }, order: { littleEndian } }: Pick<PackedSamples, 'packing' | 'order'>,
  row: Float32Array,
): void {
  const size = bits as 16 | 24 | 32;
  const width = size / 8;
  for (let index = 0; index < row.length; index += 1) {
    const from = at + index * width;
    row[index] = floatOf(littleEndian ? bytes.readUIntLE(from, width) : bytes.readUIntBE(from, width), size);
  }
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
export function requireRoom({ picture: { width, height }, storage: { pieces, samples } }: DngFrame): void {
  const bytes = pieces.reduce((sum, piece) => sum + piece.bytes, 0);
  if (width * height * samples > 8 * bytes)
    throw new StillDamage(`a raster of ${width}x${height} in ${bytes} bytes`);
}

/**
 * Code values of the whole raw picture, row by row, samples of a pixel beside each other. `file`: all bytes of the file that `frame` was read from. Throws StillDamage
 * with the place for anything that is not whole, and RangeError for a frame that is not ours.
 */
export function decodeCfa(file: Buffer, frame: DngFrame): Samples {
  const refused = notOurs(frame);
  if (refused !== null) throw new RangeError(refused);
  const { storage } = frame;
  const { height } = frame.picture;
  const width = frame.picture.width * storage.samples;
  requireRoom(frame);
  const cfa = storage.float ? new Float32Array(width * height) : new Uint16Array(width * height);
  for (const [index, stored] of storage.pieces.entries()) {
    inPiece(frame, index, () => {
      const piece = inSamples(stored, storage.samples);
      const bytes = bytesOf(file, piece);
      const columns = Math.min(piece.width, width - piece.left);
      const rows = Math.min(piece.height, height - piece.top);
      const place = (row: number): number => (piece.top + row) * width + piece.left;
      if (storage.compression === 'none') {
        const packing = packingOf(storage, piece);
        const packed = { bytes, packing, order: storage };
        for (let row = 0; row < rows; row += 1) {
          const [at, from] = [row * packing.rowBytes, place(row)];
          if (cfa instanceof Float32Array) floatRow(bytes, at, packed, cfa.subarray(from, from + columns));
          else unpackRow(packed, at, cfa.subarray(from, from + columns));
        }
        return;
      }
      const header = readLosslessHeader(bytes);
      requireSamples(header, piece);
      const samples = decodeLossless(bytes, header);
      for (let row = 0; row < rows; row += 1)
        cfa.set(samples.subarray(row * piece.width, row * piece.width + columns), place(row));
    });
  }
  if (cfa instanceof Float32Array) requireFinite(cfa);
  else if (storage.compression === 'none') requireBits(cfa, storage.bitsPerSample);
  return cfa;
}
