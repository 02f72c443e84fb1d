/**
 * Code values out of DNG files by the kernel (media/kernels/assembly/dng.ts): what decode.ts does, on a thread's memory. The only one
 * that knows how the kernel finds its things. Nothing that is allocated here stays so between two frames.
 */
import { type KernelMemory, kernels } from '../../kernels/memory.ts';
import { StillDamage } from '../still.ts';
import {
  bytesOf,
  inPiece,
  inSamples,
  notOurs,
  requireFinite,
  requireRoom,
  requireSamples,
  type Samples,
} from './decode.ts';
import { putFloats } from './floats.ts';
import type { DngFrame } from './header.ts';
import type { RawPiece } from '../tiff/pieces.ts';
import { type HuffmanSpec, type LosslessHeader, readLosslessHeader } from './jpeg-header.ts';
import { isPadding } from './lossless-jpeg.ts';
import { type Packing, packingOf, unpackRow } from './packed.ts';
import { requireMarker } from './segments.ts';

interface Exports {
  readonly tableBytes: () => number;
  readonly buildTable: (counts: number, values: number, table: number) => void;
  readonly decodePart: (
    bytes: number,
    count: number,
    tables: number,
    components: number,
    width: number,
    lines: number,
    predictor: number,
    start: number,
    out: number,
  ) => number;
  readonly consumed: (bytes: number) => bigint;
  readonly reason: () => number;
  readonly unstuff: (at: number, end: number, to: number) => number;
  readonly stoppedAt: () => number;
  readonly copyRows: (
    at: number,
    fromStride: number,
    to: number,
    toStride: number,
    bytes: number,
    rows: number,
  ) => void;
  readonly largest: (at: number, count: number) => number;
  readonly swapWords: (at: number, count: number, to: number) => void;
  readonly widenBytes: (at: number, count: number, to: number) => void;
  readonly unpackRow: (at: number, bits: number, count: number, to: number) => void;
}

/** The kernel reads and writes up to so many bytes behind what it is given. */
export const BEHIND = 32;

interface Places {
  /** The whole raw picture. */
  readonly cfa: number;
  /** Samples of one piece, where they are not written into the picture at once. */
  readonly samples: number;
  /** Bytes of one piece as stored, and without stuffing. */
  readonly stored: number;
  readonly clean: number;
  /** Four tables, then their addresses, then what they are built from. */
  readonly tables: number;
  readonly addresses: number;
  readonly spec: number;
}

export class DngKernel {
  readonly #memory: KernelMemory;
  readonly #exports: Exports;

  private constructor(memory: KernelMemory, exports: Exports) {
    this.#memory = memory;
    this.#exports = exports;
  }

  static async load(memory: KernelMemory): Promise<DngKernel> {
    return new DngKernel(memory, await kernels<Exports>('dng', memory));
  }

  /** As `decodeCfa`: the same samples, and the same throws. */
  decode(file: Buffer, frame: DngFrame): Samples {
    requireRoom(frame);
    const mark = this.#memory.mark;
    try {
      const count = frame.picture.width * frame.picture.height * frame.storage.samples;
      if (frame.storage.float) {
        const values = this.#memory.allocate(count * 4);
        this.#floatsTo(file, frame, this.#memory.f32(values, count));
        return this.#memory.f32(values, count).slice();
      }
      const cfa = this.#memory.allocate(count * 2 + BEHIND);
      this.#decodeTo(file, frame, cfa);
      return this.#memory.u16(cfa, count).slice();
    } finally {
      this.#memory.reset(mark);
    }
  }

  /**
   * The same into a view of the kernel's own memory, which has room for every sample and may be written up to `BEHIND` bytes further.
   * The view is stale afterwards where the memory grew. Throws RangeError for a view of another size or of other memory.
   */
  decodeInto(file: Buffer, frame: DngFrame, to: Samples): void {
    const { width, height } = frame.picture;
    const count = width * height * frame.storage.samples;
    if (to.buffer !== this.#memory.memory.buffer) throw new RangeError('a place in other memory');
    if (to.length !== count) throw new RangeError(`room for ${to.length} codes of ${count} samples`);
    if (to instanceof Float32Array !== frame.storage.float)
      throw new RangeError('room for samples of another kind');
    if (to instanceof Float32Array) {
      this.#floatsTo(file, frame, to);
      return;
    }
    const mark = this.#memory.mark;
    try {
      this.#decodeTo(file, frame, to.byteOffset);
    } finally {
      this.#memory.reset(mark);
    }
  }

  /** Rare enough for plain TypeScript. */
  #floatsTo(file: Buffer, frame: DngFrame, to: Float32Array): void {
    const refused = notOurs(frame);
    if (refused !== null) throw new RangeError(refused);
    const { storage, picture } = frame;
    for (const [index, stored] of storage.pieces.entries()) {
      inPiece(frame, index, () => {
        const piece = inSamples(stored, storage.samples);
        putFloats(
          bytesOf(file, piece),
          storage,
          { piece, packing: packingOf(storage, piece) },
          {
            to,
            width: picture.width * storage.samples,
            height: picture.height,
          },
        );
      });
    }
    requireFinite(to);
  }

  #decodeTo(file: Buffer, frame: DngFrame, cfa: number): void {
    const refused = notOurs(frame);
    if (refused !== null) throw new RangeError(refused);
    const { pieces: stored, compression, bitsPerSample, samples } = frame.storage;
    const [width, height] = [frame.picture.width * samples, frame.picture.height];
    const pieces = stored.map((piece) => inSamples(piece, samples));
    const places = this.#allocate(frame, cfa);
    for (const [index, piece] of pieces.entries()) {
      inPiece(frame, index, () =>
        compression === 'none'
          ? this.#packed(bytesOf(file, piece), frame, piece, places)
          : this.#lossless(bytesOf(file, piece), frame, piece, places),
      );
    }
    const most = this.#exports.largest(cfa, width * height);
    if (most > 2 ** bitsPerSample - 1)
      throw new StillDamage(`code value ${most} in a picture of ${bitsPerSample} bits`);
  }

  #allocate({ storage: { pieces, samples } }: DngFrame, cfa: number): Places {
    const memory = this.#memory;
    const longest = pieces.reduce((most, { bytes }) => Math.max(most, bytes), 0) + BEHIND;
    const largest = pieces.reduce((most, piece) => Math.max(most, piece.width * piece.height * samples), 0);
    return {
      cfa,
      samples: memory.allocate(largest * 2 + BEHIND),
      stored: memory.allocate(longest),
      clean: memory.allocate(longest),
      tables: memory.allocate(4 * this.#exports.tableBytes()),
      addresses: memory.allocate(16),
      spec: memory.allocate(512),
    };
  }

  #packed(bytes: Buffer, { picture: raster, storage }: DngFrame, piece: RawPiece, places: Places): void {
    const picture = { width: raster.width * storage.samples, height: raster.height };
    const memory = this.#memory;
    const packing = packingOf(storage, piece);
    const columns = Math.min(piece.width, picture.width - piece.left);
    const rows = Math.min(piece.height, picture.height - piece.top);
    const place = (row: number): number => (piece.top + row) * picture.width + piece.left;
    // Words as the kernels want them: every row is one copy, and so is a piece as wide as the picture.
    if (packing.form === 'words' && storage.littleEndian) {
      const samples = memory.bytes(places.cfa, picture.width * picture.height * 2);
      const whole = columns === picture.width && packing.rowBytes === columns * 2;
      const [copies, length] = whole ? [1, rows * columns * 2] : [rows, columns * 2];
      for (let row = 0; row < copies; row += 1)
        samples.set(bytes.subarray(row * packing.rowBytes, row * packing.rowBytes + length), place(row) * 2);
      return;
    }
    const samples = memory.u16(places.cfa, picture.width * picture.height);
    memory.bytes(places.stored, bytes.length).set(bytes);
    const kernelRow = this.#rowOf(packing);
    const packed = { bytes, packing, order: storage };
    for (let row = 0; row < rows; row += 1) {
      // Bytes whose lowest bit comes first are rare enough for plain TypeScript.
      if (storage.lowBitFirst && packing.form !== 'words')
        unpackRow(packed, row * packing.rowBytes, samples.subarray(place(row), place(row) + columns));
      else kernelRow(places.stored + row * packing.rowBytes, columns, places.cfa + place(row) * 2);
    }
  }

  #rowOf({ form, bits }: Packing): (at: number, count: number, to: number) => void {
    if (form === 'bytes') return this.#exports.widenBytes;
    if (form === 'packed') return (at, count, to) => this.#exports.unpackRow(at, bits, count, to);
    return this.#exports.swapWords;
  }

  #lossless(bytes: Buffer, { picture: raster, storage }: DngFrame, piece: RawPiece, places: Places): void {
    const picture = { width: raster.width * storage.samples, height: raster.height };
    const header = readLosslessHeader(bytes);
    requireSamples(header, piece);
    const whole = piece.width === picture.width && piece.top + piece.height <= picture.height;
    const out = whole ? places.cfa + piece.top * picture.width * 2 : places.samples;
    this.#decode(bytes, header, places, out);
    if (whole) return;
    const columns = Math.min(piece.width, picture.width - piece.left);
    const rows = Math.min(piece.height, picture.height - piece.top);
    this.#exports.copyRows(
      out,
      piece.width * 2,
      places.cfa + (piece.top * picture.width + piece.left) * 2,
      picture.width * 2,
      columns * 2,
      rows,
    );
  }

  #buildTables(specs: readonly HuffmanSpec[], places: Places): void {
    const addresses = new Uint32Array(this.#memory.memory.buffer, places.addresses, 4);
    for (const [component, spec] of specs.entries()) {
      const same = specs.indexOf(spec);
      const table = places.tables + same * this.#exports.tableBytes();
      addresses[component] = table;
      if (same !== component) continue;
      this.#memory.bytes(places.spec, 16).set(spec.counts);
      this.#memory.bytes(places.spec + 16, spec.values.length).set(spec.values);
      this.#exports.buildTable(places.spec, places.spec + 16, table);
    }
  }

  /** All samples of the stream to `out`, in its own order. */
  #decode(bytes: Buffer, header: LosslessHeader, places: Places, out: number): void {
    const { lines, samplesPerLine, components, predictor, precision, pointTransform } = header;
    const width = samplesPerLine * components;
    const linesInPart = header.restartLines === 0 ? lines : header.restartLines;
    const parts = Math.ceil(lines / linesInPart);
    this.#buildTables(header.tables, places);
    this.#memory.bytes(places.stored, bytes.length).set(bytes);
    const end = places.stored + bytes.length;
    let at = places.stored + header.scanStart;
    for (let part = 0; part < parts; part += 1) {
      const first = part * linesInPart;
      const count = this.#exports.unstuff(at, end, places.clean);
      const stopped = this.#exports.stoppedAt();
      requireMarker(bytes, stopped === end ? -1 : stopped - places.stored, part, parts);
      at = stopped + 2;
      this.#memory.bytes(places.clean + count, 16).fill(0);
      const failed = this.#exports.decodePart(
        places.clean,
        count,
        places.addresses,
        components,
        width,
        Math.min(linesInPart, lines - first),
        predictor,
        1 << (precision - pointTransform - 1),
        out + first * width * 2,
      );
      if (failed > 0)
        throw new StillDamage(
          this.#exports.reason() === 1
            ? 'bits that are no code'
            : `the coded samples end in line ${first + failed} of ${lines}`,
        );
      const consumed = Number(this.#exports.consumed(places.clean));
      if (!isPadding(this.#memory.bytes(places.clean, count), consumed))
        throw new StillDamage(
          `${count * 8 - consumed} bits are left behind line ${Math.min(lines, first + linesInPart)}: the coded samples are damaged`,
        );
    }
    if (pointTransform > 0) {
      const samples = this.#memory.u16(out, width * lines);
      for (let index = 0; index < samples.length; index += 1)
        samples[index] = (samples[index] as number) << pointTransform;
    }
    const most = this.#exports.largest(out, width * lines);
    if (most > 2 ** precision - 1)
      throw new StillDamage(
        `sample ${most} in a JPEG stream of ${precision} bits: the coded samples are damaged`,
      );
  }
}
