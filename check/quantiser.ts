/**
 * How coarsely each frame of a file is quantised, read from its own bitstream by our own readers: what a codec can have lost follows from
 * it, whatever was encoded. VC-3 (SMPTE ST 2019-1): the first macroblock of each row; RDD 36: every slice.
 */
import type { Readable } from 'node:stream';

/** Of each frame: mean and greatest square of the quantiser's scale. */
export interface Quantisers {
  readonly mean: readonly number[];
  readonly greatest: readonly number[];
}

/** null: it is no such frame. */
type ScalesOf = (frame: Buffer) => number[] | null;

/** ST 2019-1: the offsets of the rows stand at 0x170, data begins behind a header of 0x280 bytes, or behind the offsets of more than 68 rows. */
const VC3_ROWS = 0x170;
const VC3_HEADER = 0x280;
const VC3_ROWS_IN_HEADER = 68;
const VC3_LINES = 0x18;

const vc3Scales: ScalesOf = (frame) => {
  if (frame.length < VC3_HEADER) return null;
  const rows = Math.ceil(frame.readUInt16BE(VC3_LINES) / 16);
  const data = rows <= VC3_ROWS_IN_HEADER ? VC3_HEADER : VC3_ROWS + 4 * rows;
  if (rows === 0 || frame.length < data) return null;
  const scales: number[] = [];
  for (let row = 0; row < rows; row += 1) {
    const at = data + frame.readUInt32BE(VC3_ROWS + 4 * row);
    if (at + 2 > frame.length) return null;
    // 11 bits at the head of each macroblock.
    scales.push(frame.readUInt16BE(at) >> 5);
  }
  return scales;
};

/** RDD 36, 5 and 6: a frame is its size, its name, its header, and of a progressive picture one picture: header, sizes of the slices, slices. */
const RDD36_HEADER = 8;
/** Indices above this stand for four times as large steps. */
const RDD36_FINE = 128;

const rdd36Scales: ScalesOf = (frame) => {
  if (frame.length < RDD36_HEADER + 2 || frame.toString('latin1', 4, 8) !== 'icpf') return null;
  const picture = RDD36_HEADER + frame.readUInt16BE(RDD36_HEADER);
  if (picture + 8 > frame.length) return null;
  const sizes = picture + ((frame[picture] as number) >> 3);
  const count = frame.readUInt16BE(picture + 5);
  let at = sizes + 2 * count;
  const scales: number[] = [];
  for (let slice = 0; slice < count; slice += 1) {
    if (at + 2 > frame.length || sizes + 2 * slice + 2 > frame.length) return null;
    const index = frame[at + 1] as number;
    scales.push(index <= RDD36_FINE ? index : (index - 96) << 2);
    at += frame.readUInt16BE(sizes + 2 * slice);
  }
  return count === 0 ? null : scales;
};

/** Bytes of the frame that begins here; null: too few to say. */
type SizeOf = (head: Buffer) => number | null;

export interface QuantiserReader {
  /** Of packets one after the other, as they lie in the file. */
  read(stream: Readable): Promise<void>;
  /** null: something in between was no frame of the codec. */
  quantisers(): Quantisers | null;
}

const MOST_FRAME_BYTES = 2 ** 30;

/** null: a codec without one such number. `packetBytes`: of every packet, where the codec fixes it. */
export function quantiserReader(codec: string, packetBytes: number | null): QuantiserReader | null {
  const sizeOf: SizeOf = (head) =>
    codec === 'vc3' ? packetBytes : head.length < 4 ? null : head.readUInt32BE(0);
  const scalesOf = codec === 'vc3' ? vc3Scales : codec === 'rdd36' ? rdd36Scales : null;
  if (scalesOf === null || (codec === 'vc3' && packetBytes === null)) return null;
  const mean: number[] = [];
  const greatest: number[] = [];
  let whole = true;
  let parts: Buffer[] = [];
  let length = 0;
  const takeFrames = (): void => {
    for (;;) {
      if (length < 4) return;
      if ((parts[0] as Buffer).length < 4) parts = [Buffer.concat(parts)];
      const size = sizeOf(parts[0] as Buffer);
      if (size === null) return;
      if (size < 8 || size > MOST_FRAME_BYTES) {
        whole = false;
        return;
      }
      if (length < size) return;
      const joined = parts.length === 1 ? (parts[0] as Buffer) : Buffer.concat(parts);
      const scales = scalesOf(joined.subarray(0, size));
      if (scales === null) {
        whole = false;
        return;
      }
      const squares = scales.map((scale) => scale * scale);
      mean.push(squares.reduce((sum, square) => sum + square, 0) / squares.length);
      greatest.push(squares.reduce((most, square) => Math.max(most, square), 0));
      parts = [joined.subarray(size)];
      length -= size;
    }
  };
  return {
    async read(stream) {
      for await (const chunk of stream) {
        if (!whole) continue;
        parts.push(chunk as Buffer);
        length += (chunk as Buffer).length;
        takeFrames();
      }
    },
    quantisers: () => (whole && length === 0 ? { mean, greatest } : null),
  };
}
