/**
 * Chunks of DWA (ImfDwaCompressor.cpp, version 2): R, G, B as Y'CbCr of values on a curve, by blocks; the first word of each block in a zlib
 * stream behind a predictor, the others in the codes that PIZ has too. A chunk that would not become smaller is stored as it is, without loss.
 */
import type { KernelMemory } from '../../kernels/memory.ts';
import { CHUNK_HEAD_BYTES } from './header.ts';
import { type DwaKernel, dwaKernel, type ExrKernel, KERNEL_SLACK, type PizKernel } from './kernel.ts';

/** Eleven numbers of 64 bits in front of a chunk; here those that are not 0. */
const HEAD_WORDS = 11;
const VERSION_AT = 0;
const AC_BYTES_AT = 3;
const DC_BYTES_AT = 4;
const AC_COUNT_AT = 8;
const DC_COUNT_AT = 9;
const VERSION = 2n;

/** Which channels are coded how: their own size, then name, place in the set of three plus one in four bits, scheme in two (1: by blocks), and kind of value (1: half). */
const RULES = Uint8Array.from([
  ...[14, 0],
  ...['R', 'G', 'B'].flatMap((name, place) => [name.charCodeAt(0), 0, ((place + 1) << 4) | (1 << 2), 1]),
]);

interface Prepared {
  readonly width: number;
  /** The curve and the steps, and a block that is worked on. */
  readonly curve: number;
  readonly deflate: number;
  readonly dc: number;
  readonly split: number;
  readonly ac: number;
}

export interface DwaChunk {
  /** Halves R, G, B of its lines, one channel behind the other. */
  readonly planes: number;
  readonly y: number;
  readonly count: number;
  /** Of PIZ. */
  readonly scratch: number;
  readonly to: number;
}

export class DwaChunks {
  readonly #memory: KernelMemory;
  readonly #exr: ExrKernel;
  readonly #piz: PizKernel;
  readonly #dwa: DwaKernel;
  #prepared: Prepared | null = null;

  private constructor(memory: KernelMemory, exr: ExrKernel, piz: PizKernel, dwa: DwaKernel) {
    this.#memory = memory;
    this.#exr = exr;
    this.#piz = piz;
    this.#dwa = dwa;
  }

  static async create(memory: KernelMemory, exr: ExrKernel, piz: PizKernel): Promise<DwaChunks> {
    return new DwaChunks(memory, exr, piz, await dwaKernel(memory));
  }

  /** `lines`: the most of a chunk; `level`: dwaCompressionLevel. */
  prepare({
    width,
    lines,
    level,
  }: {
    readonly width: number;
    readonly lines: number;
    readonly level: number;
  }): void {
    const blocks = Math.ceil(width / 8) * Math.ceil(lines / 8);
    const room = (bytes: number): number => this.#memory.allocate(bytes + KERNEL_SLACK);
    const curve = room(this.#dwa.dwaScratchBytes());
    this.#prepared = {
      width,
      curve,
      deflate: room(this.#exr.scratchBytes()),
      dc: room(6 * blocks),
      split: room(6 * blocks),
      ac: room(6 * 63 * blocks),
    };
    this.#dwa.dwaPrepare(level, curve);
  }

  /** Gives the whole chunk's size. Writes behind what it needs as PIZ does. */
  chunk(one: DwaChunk): number {
    const prepared = this.#prepared;
    if (prepared === null) throw new RangeError('a chunk before prepare');
    const { planes, y, count, to } = one;
    const at = to + CHUNK_HEAD_BYTES;
    const plain = 6 * prepared.width * count;
    let bytes = this.#packed(prepared, one, at + plain);
    if (bytes === 0) {
      this.#store(planes, { width: prepared.width, count, to: at });
      bytes = plain;
    }
    const head = new DataView(this.#memory.memory.buffer, to, CHUNK_HEAD_BYTES);
    head.setInt32(0, y, true);
    head.setInt32(4, bytes, true);
    return CHUNK_HEAD_BYTES + bytes;
  }

  /** Size of the data; 0: they would not be smaller than the values. */
  #packed(
    { width, curve, deflate, dc, split, ac }: Prepared,
    { planes, count, scratch, to }: DwaChunk,
    end: number,
  ): number {
    const start = to + CHUNK_HEAD_BYTES;
    const words = start + 8 * HEAD_WORDS + RULES.length;
    if (words >= end) return 0;
    const acCount = this.#dwa.dwaBlocks(planes, width, count, curve, dc, ac);
    const dcCount = 3 * Math.ceil(width / 8) * Math.ceil(count / 8);
    const acBytes = this.#piz.huffman(ac, acCount, scratch, words, end);
    if (acBytes === 0 || words + acBytes >= end) return 0;
    this.#exr.splitAndPredict(dc, 2 * dcCount, split);
    const dcBytes = this.#exr.zlib(
      split,
      2 * dcCount,
      dcCount,
      deflate,
      words + acBytes,
      end - words - acBytes,
    );
    if (dcBytes === 0) return 0;
    const head = new DataView(this.#memory.memory.buffer, start, 8 * HEAD_WORDS);
    for (let at = 0; at < HEAD_WORDS; at += 1) head.setBigUint64(8 * at, 0n, true);
    head.setBigUint64(8 * VERSION_AT, VERSION, true);
    head.setBigUint64(8 * AC_BYTES_AT, BigInt(acBytes), true);
    head.setBigUint64(8 * DC_BYTES_AT, BigInt(dcBytes), true);
    head.setBigUint64(8 * AC_COUNT_AT, BigInt(acCount), true);
    head.setBigUint64(8 * DC_COUNT_AT, BigInt(dcCount), true);
    this.#memory.bytes(start + 8 * HEAD_WORDS, RULES.length).set(RULES);
    return words + acBytes + dcBytes - start;
  }

  /** Lines as a chunk without compression holds them: channels B, G, R of each. */
  #store(
    planes: number,
    { width, count, to }: { readonly width: number; readonly count: number; readonly to: number },
  ): void {
    const row = 2 * width;
    const values = this.#memory.bytes(planes, 3 * row * count);
    const out = this.#memory.bytes(to, values.length);
    for (let line = 0; line < count; line += 1)
      for (const [place, channel] of [2, 1, 0].entries()) {
        const from = row * (channel * count + line);
        out.set(values.subarray(from, from + row), row * (3 * line + place));
      }
  }
}
