/** Chunks of any size of interleaved signed 32-bit little-endian samples (`-f s32le`) as whole sample frames. */
import { endianness } from 'node:os';

export class PcmReader {
  readonly #frameBytes: number;
  #rest: Buffer = Buffer.alloc(0);

  constructor(channels: number) {
    // The view below reads as the machine counts; every machine that Node.js 20 is built for in a farm counts so.
    if (endianness() !== 'LE') throw new RangeError('audio is read on little-endian machines only');
    this.#frameBytes = 4 * channels;
  }

  /** The whole sample frames that are there by now. The array may look into the chunk: it is good until the next call. */
  take(chunk: Buffer): Int32Array {
    const bytes = this.#rest.length === 0 ? chunk : Buffer.concat([this.#rest, chunk]);
    const whole = bytes.length - (bytes.length % this.#frameBytes);
    // A copy, since the chunk is not ours to keep.
    this.#rest = Buffer.from(bytes.subarray(whole));
    const aligned = bytes.byteOffset % 4 === 0 ? bytes : Buffer.from(new Uint8Array(bytes).buffer);
    return new Int32Array(aligned.buffer, aligned.byteOffset, whole / 4);
  }

  /** Throws RangeError when the audio ends within a sample frame. */
  end(): void {
    if (this.#rest.length !== 0)
      throw new RangeError(
        `audio ends ${this.#rest.length} bytes into a sample frame of ${this.#frameBytes} bytes`,
      );
  }
}
