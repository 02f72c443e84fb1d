/** Reads the raw pictures of a tap from a pipe. */
import { endianness } from 'node:os';
import type { Readable } from 'node:stream';
import { CELLS, COLOUR_CELLS, type FrameFingerprints } from './form.ts';

/** Little-endian 16-bit values, as they come; grows by half, since nobody knows how many frames there will be. */
export class ValueCollector {
  #bytes = Buffer.alloc(64 * CELLS * 2);
  #length = 0;

  async read(stream: Readable, onBytes: (bytes: number) => void = () => undefined): Promise<void> {
    for await (const chunk of stream) {
      const piece = chunk as Buffer;
      if (this.#length + piece.length > this.#bytes.length) {
        const larger = Buffer.alloc(
          Math.max(Math.ceil(this.#bytes.length * 1.5), this.#length + piece.length),
        );
        this.#bytes.copy(larger, 0, 0, this.#length);
        this.#bytes = larger;
      }
      piece.copy(this.#bytes, this.#length);
      this.#length += piece.length;
      onBytes(this.#length);
    }
  }

  /** Whole pictures of `size` values; a torn last one is left out. */
  values(size: number): Uint16Array {
    const count = Math.floor(this.#length / (2 * size)) * size;
    const copy = Buffer.from(this.#bytes.subarray(0, 2 * count));
    if (endianness() === 'BE') copy.swap16();
    return new Uint16Array(copy.buffer.slice(copy.byteOffset, copy.byteOffset + 2 * count));
  }
}

export class FingerprintCollector {
  readonly luma = new ValueCollector();
  readonly colour = new ValueCollector();

  /** What has come so far. */
  fingerprints(views: 1 | 2, hasColour: boolean): FrameFingerprints {
    const luma = this.luma.values(CELLS * views);
    return {
      frames: luma.length / (CELLS * views),
      views,
      luma,
      colour: hasColour ? this.colour.values(2 * COLOUR_CELLS) : null,
    };
  }
}
