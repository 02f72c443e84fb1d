/**
 * Samples without compression (TIFF 6.0, sections 3 and 8; DNG specification, BitsPerSample): 8 bits, 16 bits in the file's byte
 * order, and every other depth packed, highest bit first, each row from a whole byte on.
 */
import { StillDamage } from '../still.ts';
import type { RawStorage } from './header.ts';
import type { RawPiece } from '../tiff/pieces.ts';

/** How the rows of a piece lie in its bytes. `words`: 16 bits a sample although fewer count, as some writers store them; `floats`: floating point of 16, 24 or 32. */
export interface Packing {
  readonly form: 'bytes' | 'words' | 'packed' | 'floats';
  readonly bits: number;
  readonly rowBytes: number;
}

/** Throws StillDamage when the piece has fewer bytes than its samples need. */
export function packingOf(
  storage: Pick<RawStorage, 'bitsPerSample' | 'float'>,
  piece: Pick<RawPiece, 'bytes' | 'width' | 'height'>,
): Packing {
  const bits = storage.bitsPerSample;
  const unpacked = bits > 8 && bits < 16 && piece.bytes === piece.width * piece.height * 2;
  const form = storage.float ? 'floats' : bits === 8 ? 'bytes' : bits === 16 || unpacked ? 'words' : 'packed';
  const rowBytes = form === 'words' ? piece.width * 2 : Math.ceil((piece.width * bits) / 8);
  const needed = rowBytes * piece.height;
  if (piece.bytes < needed)
    throw new StillDamage(
      `${piece.bytes} bytes, ${piece.width}x${piece.height} samples of ${bits} bits need ${needed}`,
    );
  return { form, bits, rowBytes };
}

/** The bits of each byte the other way round. */
export const REVERSED = Uint8Array.from({ length: 256 }, (_, value) => {
  let reversed = 0;
  for (let bit = 0; bit < 8; bit += 1) if ((value & (1 << bit)) !== 0) reversed |= 128 >> bit;
  return reversed;
});

/** Samples as they are stored. */
export interface PackedSamples {
  readonly bytes: Uint8Array;
  readonly packing: Packing;
  readonly order: Pick<RawStorage, 'littleEndian' | 'lowBitFirst'>;
}

/** Fills `row` with samples from the byte at `at`. */
export function unpackRow({ bytes, packing, order }: PackedSamples, at: number, row: Uint16Array): void {
  const { form, bits } = packing;
  const count = row.length;
  if (form === 'words') {
    const [high, low] = order.littleEndian ? [1, 0] : [0, 1];
    for (let index = 0; index < count; index += 1)
      row[index] = ((bytes[at + index * 2 + high] as number) << 8) | (bytes[at + index * 2 + low] as number);
    return;
  }
  let held = 0;
  let ready = 0;
  let next = at;
  for (let index = 0; index < count; index += 1) {
    while (ready < bits) {
      const byte = bytes[next++] as number;
      held = ((held << 8) | (order.lowBitFirst ? (REVERSED[byte] as number) : byte)) & 0xff_ffff;
      ready += 8;
    }
    ready -= bits;
    row[index] = (held >> ready) & ((1 << bits) - 1);
  }
}
