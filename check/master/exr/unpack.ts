/** Data of a chunk as values: uncompressed, run lengths (RLE) or zlib (ZIPS, ZIP), both behind a byte split and a predictor, PIZ, or DWA. */
import { ExrDamage, ExrForeign } from './damage.ts';
import type { ExrHeader } from './header.ts';
import { fromDwa } from './dwa.ts';
import { fromPiz } from './piz.ts';
import type { ExrChunk } from './chunks.ts';
import { fromPredicted, fromZlib } from './zlib.ts';

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
    if (compression === 'dwaa' || compression === 'dwab') return fromDwa(data, { channels, width, lines });
    if (compression === 'zip' || compression === 'zips') return fromPredicted(fromZlib(data, size));
  } catch (error) {
    throw error instanceof ExrDamage ? new ExrDamage(`the chunk of line ${y}: ${error.message}`) : error;
  }
  throw new ExrForeign(`compression ${compression}`);
}
