/**
 * The way through a file: every entry of the offset table, every chunk where the table says and of the line that is due,
 * chunks end to end up to the last byte. Readers elsewhere decode a cut-off file without a word; this one says what is wrong.
 */
import { ExrDamage } from './damage.ts';
import { CHUNK_HEAD_BYTES, OFFSET_BYTES } from './header.ts';
import { type ExrHeader, ExrHeaderCut, readHeader } from './parse.ts';
import type { ByteSource } from './source.ts';

export interface ExrChunk {
  /** First line, in the data window's own numbers. */
  readonly y: number;
  readonly lines: number;
  /** Where its data begin, and how many bytes they are. */
  readonly at: number;
  readonly bytes: number;
}

export interface WalkedExr {
  readonly header: ExrHeader;
  /** From the top line down, wherever they lie. */
  readonly chunks: readonly ExrChunk[];
}

/**
 * Bytes that one stored byte can stand for at most: a run of 128 in two bytes; in deflate 258 in two bits (RFC 1951, 3.2.5). A
 * chunk that claims more is damage, before room is made for it.
 */
const MOST_FROM_A_BYTE: Partial<Record<ExrHeader['compression'], number>> = {
  rle: 64,
  zip: 1032,
  zips: 1032,
};
const FIRST_READ = 64 * 1024;
const MOST_HEADER = 16 * 1024 * 1024;

async function headerOf(source: ByteSource): Promise<ExrHeader> {
  for (let length = FIRST_READ; ; length *= 8) {
    const bytes = await source.read(0, Math.min(length, MOST_HEADER));
    try {
      return readHeader(bytes);
    } catch (error) {
      if (!(error instanceof ExrHeaderCut) || bytes.length === source.bytes || length >= MOST_HEADER)
        throw error;
    }
  }
}

/** Entries of the offset table, in order of lines. */
async function tableOf(source: ByteSource, { end, chunkCount }: ExrHeader): Promise<number[]> {
  const table = await source.read(end, chunkCount * OFFSET_BYTES);
  if (table.length !== chunkCount * OFFSET_BYTES)
    throw new ExrDamage(`the file ends inside the offset table, at byte ${source.bytes}`);
  return Array.from({ length: chunkCount }, (_, index) => {
    const at = table.readBigUInt64LE(index * OFFSET_BYTES);
    if (at === 0n)
      throw new ExrDamage(
        `chunk ${index} of ${chunkCount} was never written: its entry in the offset table is 0`,
      );
    if (at > BigInt(source.bytes - CHUNK_HEAD_BYTES))
      throw new ExrDamage(`chunk ${index} of ${chunkCount} lies at byte ${at} of ${source.bytes}`);
    return Number(at);
  });
}

function chunkOf(header: ExrHeader, index: number, at: number, head: Buffer, fileBytes: number): ExrChunk {
  const y = header.dataWindow.yMin + index * header.linesPerChunk;
  const lines = Math.min(header.linesPerChunk, header.height - index * header.linesPerChunk);
  const where = `chunk ${index} of ${header.chunkCount} at byte ${at}`;
  const [storedY, bytes] = [head.readInt32LE(0), head.readInt32LE(4)];
  if (storedY !== y) throw new ExrDamage(`${where} is of line ${storedY}, not ${y}`);
  const raw = lines * header.lineBytes;
  const most = MOST_FROM_A_BYTE[header.compression];
  if (most !== undefined && raw > bytes * most)
    throw new ExrDamage(`${where} has ${bytes} bytes, too few for ${raw} bytes of values`);
  if (bytes < 1 || bytes > raw || (header.compression === 'none' && bytes !== raw))
    throw new ExrDamage(`${where} has ${bytes} bytes for ${lines} lines of ${header.lineBytes}`);
  if (at + CHUNK_HEAD_BYTES + bytes > fileBytes)
    throw new ExrDamage(`${where} ends at byte ${at + CHUNK_HEAD_BYTES + bytes}, the file at ${fileBytes}`);
  return { y, lines, at: at + CHUNK_HEAD_BYTES, bytes };
}

/** Throws ExrDamage and ExrForeign. Reads the header, the table and the heads of the chunks, not their data. */
export async function walkExr(source: ByteSource): Promise<WalkedExr> {
  const header = await headerOf(source);
  const offsets = await tableOf(source, header);
  const chunks: ExrChunk[] = [];
  for (const [index, at] of offsets.entries())
    chunks.push(chunkOf(header, index, at, await source.read(at, CHUNK_HEAD_BYTES), source.bytes));
  let end = header.end + OFFSET_BYTES * header.chunkCount;
  for (const { at, bytes, y } of chunks.toSorted((a, b) => a.at - b.at)) {
    const start = at - CHUNK_HEAD_BYTES;
    if (start !== end)
      throw new ExrDamage(
        start > end
          ? `${start - end} bytes at ${end} belong to no chunk`
          : `the chunk of line ${y} at byte ${start} overlaps what ends at ${end}`,
      );
    end = at + bytes;
  }
  if (end !== source.bytes) throw new ExrDamage(`${source.bytes - end} bytes behind the last chunk`);
  return { header, chunks };
}
