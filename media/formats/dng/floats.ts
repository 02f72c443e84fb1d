/** Floating-point samples out of the pieces of a DNG file, for the threads: by tables and shared bits. decode.ts computes each from its fields. */
import type { RawPiece } from '../tiff/pieces.ts';
import type { RawStorage } from './header.ts';
import type { Packing } from './packed.ts';

const word = new DataView(new ArrayBuffer(4));

/** The 32 bits of the single that a half is. */
function singleOfHalf(half: number): number {
  word.setUint32(0, ((half & 0x8000) << 16) | ((half & 0x7fff) << 13));
  // Moved to the bottom of the exponents, subnormals with it, and from there by the difference of both biases.
  if ((half & 0x7c00) === 0x7c00) {
    word.setUint32(0, ((half & 0x8000) << 16) | 0x7f80_0000 | ((half & 0x3ff) << 13));
    return word.getFloat32(0);
  }
  return word.getFloat32(0) * 2 ** 112;
}

/** The same of 24 bits, whose exponents are biased by 63. */
function singleOf24(value: number): number {
  const sign = (value & 0x80_0000) << 8;
  if ((value & 0x7f_0000) === 0x7f_0000) {
    word.setUint32(0, (sign | 0x7f80_0000 | ((value & 0xffff) << 7)) >>> 0);
    return word.getFloat32(0);
  }
  word.setUint32(0, (sign | ((value & 0x7f_ffff) << 7)) >>> 0);
  return word.getFloat32(0) * 2 ** 64;
}

let halves: Float32Array | null = null;

/** Values of one piece into a picture that is `width` samples wide. */
export function putFloats(
  bytes: Buffer,
  { littleEndian }: Pick<RawStorage, 'littleEndian'>,
  { piece, packing }: { readonly piece: RawPiece; readonly packing: Packing },
  { to, width, height }: { readonly to: Float32Array; readonly width: number; readonly height: number },
): void {
  const columns = Math.min(piece.width, width - piece.left);
  const rows = Math.min(piece.height, height - piece.top);
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.length);
  if (packing.bits === 16) halves ??= Float32Array.from({ length: 65_536 }, (_, half) => singleOfHalf(half));
  for (let row = 0; row < rows; row += 1) {
    const from = row * packing.rowBytes;
    const at = (piece.top + row) * width + piece.left;
    if (packing.bits === 32)
      for (let column = 0; column < columns; column += 1)
        to[at + column] = view.getFloat32(from + 4 * column, littleEndian);
    else if (packing.bits === 16)
      for (let column = 0; column < columns; column += 1)
        to[at + column] = (halves as Float32Array)[view.getUint16(from + 2 * column, littleEndian)] as number;
    else
      for (let column = 0; column < columns; column += 1) {
        const place = from + 3 * column;
        const [low, high] = littleEndian ? [place, place + 2] : [place + 2, place];
        to[at + column] = singleOf24(
          view.getUint8(low) | (view.getUint8(place + 1) << 8) | (view.getUint8(high) << 16),
        );
      }
  }
}
