/** Cuts what a program writes into pictures of exactly the size that was reported. */
import { LONGEST_HEAD, readNetpbmHead } from '../netpbm.ts';
import type { DeclaredDecoder } from '../../../declaration.ts';
import { PIXEL_BYTES, isCfa } from '../../../declaration.ts';

export interface PictureSize {
  readonly width: number;
  readonly height: number;
}

/** Takes bytes as they come and gives whole pictures, without heads. Throws RangeError for what cannot be such a picture. */
export class PictureCutter {
  readonly #gives: DeclaredDecoder['gives'];
  #size: PictureSize | null;
  #held: Buffer[] = [];
  #bytes = 0;
  /** Bytes of the picture that is coming in; null: its head has not been read. */
  #wanted: number | null = null;
  pictures = 0;

  /** `size`: null when each picture's head says it; the first then binds the others. */
  constructor(gives: DeclaredDecoder['gives'], size: PictureSize | null) {
    this.#gives = gives;
    this.#size = size;
  }

  get size(): PictureSize | null {
    return this.#size;
  }
  /** Bytes of a picture that has not come to its end. */
  get rest(): number {
    return this.#bytes;
  }

  #take(count: number): Buffer {
    const all = this.#held.length === 1 ? (this.#held[0] as Buffer) : Buffer.concat(this.#held);
    this.#held = all.length > count ? [all.subarray(count)] : [];
    this.#bytes -= count;
    return all.subarray(0, count);
  }

  #readHead(): boolean {
    if (this.#gives.around === 'nothing') {
      if (this.#size === null) throw new RangeError('nobody said how large the pictures are');
      this.#wanted = this.#size.width * this.#size.height * PIXEL_BYTES[this.#gives.samples];
      return true;
    }
    const start =
      this.#bytes <= LONGEST_HEAD
        ? Buffer.concat(this.#held)
        : Buffer.concat(this.#held, this.#bytes).subarray(0, LONGEST_HEAD);
    const head = readNetpbmHead(start);
    if (head === null) return false;
    const { width, height } = this.#size ?? head;
    const samples = isCfa(this.#gives.samples) ? 1 : 3;
    if (head.width !== width || head.height !== height || head.samplesPerPixel !== samples)
      throw new RangeError(
        `picture ${this.pictures + 1} is ${head.width}x${head.height}x${head.samplesPerPixel}, ${width}x${height}x${samples} is wanted`,
      );
    this.#size = { width, height };
    this.#take(head.start);
    this.#wanted = width * height * PIXEL_BYTES[this.#gives.samples];
    return true;
  }

  *cut(chunk: Buffer): Generator<Buffer> {
    if (chunk.length === 0) return;
    this.#held.push(chunk);
    this.#bytes += chunk.length;
    while (this.#bytes > 0) {
      if (this.#wanted === null && !this.#readHead()) return;
      if (this.#bytes < (this.#wanted as number)) return;
      const picture = this.#take(this.#wanted as number);
      this.#wanted = null;
      this.pictures += 1;
      yield picture;
    }
  }
}
