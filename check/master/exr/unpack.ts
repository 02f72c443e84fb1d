/** Data of a chunk as values: uncompressed, run lengths (RLE) or zlib (ZIPS, ZIP), both behind a byte split and a predictor, or PIZ. */
import { inflateSync } from 'node:zlib';
import { ExrDamage, ExrForeign } from './damage.ts';
import type { ExrHeader } from './header.ts';
import { fromPiz } from './piz.ts';
import type { ExrChunk } from './chunks.ts';

/** Runs: a count of -1 to -128 goes before so many bytes, one of 0 to 127 before a byte that stands once more than that (OpenEXR, internal_rle.c). */
function fromRuns(data: Uint8Array, size: number): Uint8Array {
  const bytes = new Uint8Array(size);
  let at = 0;
  for (let from = 0; from < data.length; ) {
    const count = ((data[from++] as number) << 24) >> 24;
    const length = count < 0 ? -count : count + 1;
    if (at + length > size || from + (count < 0 ? length : 1) > data.length)
      throw new ExrDamage('runs that do not end with the data');
    if (count < 0) bytes.set(data.subarray(from, from + length), at);
    else bytes.fill(data[from] as number, at, at + length);
    from += count < 0 ? length : 1;
    at += length;
  }
  if (at !== size) throw new ExrDamage(`runs of ${at} bytes, not ${size}`);
  return bytes;
}

function fromZlib(data: Uint8Array, size: number): Uint8Array {
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
function fromPredicted(bytes: Uint8Array): Uint8Array {
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

/** Values of the chunk's lines, each line with its channels one behind the other. Throws ExrDamage and ExrForeign. */
export function unpackChunk(
  { compression, lineBytes, channels, width }: ExrHeader,
  { y, lines }: ExrChunk,
  data: Uint8Array,
): Uint8Array {
  const size = lines * lineBytes;
  // What compression did not make smaller is stored as it is.
  if (data.length === size) return data;
  try {
    if (compression === 'rle') return fromPredicted(fromRuns(data, size));
    if (compression === 'piz')
      return fromPiz(data, { words: channels.map(({ bytes }) => bytes / 2), width, lines });
    if (compression === 'zip' || compression === 'zips') return fromPredicted(fromZlib(data, size));
  } catch (error) {
    throw error instanceof ExrDamage ? new ExrDamage(`the chunk of line ${y}: ${error.message}`) : error;
  }
  throw new ExrForeign(`compression ${compression}`);
}
