/** A zlib stream, and the byte split and predictor that stand before it in ZIPS, ZIP and in a part of DWA. */
import { inflateSync } from 'node:zlib';
import { ExrDamage } from './damage.ts';

/** `size` bytes of a stream that ends with the data. Throws ExrDamage. */
export function fromZlib(data: Uint8Array, size: number): Uint8Array {
  try {
    // With `info`, which the types do not know of: a stream may end before the data do.
    const { buffer, engine } = inflateSync(data, {
      maxOutputLength: size,
      info: true,
    } as object) as unknown as { buffer: Buffer; engine: { bytesWritten: number } };
    if (engine.bytesWritten !== data.length)
      throw new ExrDamage(`${data.length - engine.bytesWritten} bytes behind the zlib stream`);
    if (buffer.length !== size) throw new ExrDamage(`a zlib stream of ${buffer.length} bytes, not ${size}`);
    return buffer;
  } catch (error) {
    if (error instanceof ExrDamage) throw error;
    throw new ExrDamage(`no whole zlib stream: ${error instanceof Error ? error.message : String(error)}`);
  }
}

/** The predictor's sums, and both halves woven into one. `bytes` are an even number: every kind of value has two or four. */
export function fromPredicted(bytes: Uint8Array): Uint8Array {
  const half = bytes.length >> 1;
  const woven = new Uint8Array(bytes.length);
  // The sums of the second half begin with the last of the first.
  let odd = 128;
  for (let index = 0; index < half; index++) odd += (bytes[index] as number) - 128;
  let even = 128;
  for (let index = 0; index < half; index++) {
    even = (even + (bytes[index] as number) - 128) & 0xff;
    odd = (odd + (bytes[half + index] as number) - 128) & 0xff;
    woven[2 * index] = even;
    woven[2 * index + 1] = odd;
  }
  return woven;
}
