/**
 * The way through a file: every entry of the offset table, every chunk where the table says and of the line that is due,
 * chunks end to end up to the last byte. Readers elsewhere decode a cut-off file without a word; this one says what is wrong.
 */
import { ExrDamage } from './damage.ts';
import { type ExrHeader, ExrHeaderCut, readHeader } from './header.ts';
import type { FrameBytes } from './source.ts';
import { BLOCK_HEAD, type Compression, TABLE_ENTRY } from './standard.ts';

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

const FIRST_READ = 64 * 1024;
const MOST_HEADER = 16 * 1024 * 1024;

/**
 * How many bytes one stored byte can stand for, at most. RLE: two bytes for 128 (ImfRle.cpp). Deflate: 1032 for one (zlib technical
 * details, zlib.net). Compressions without a number are not unpacked here.
 */
const MOST_EXPANSION: Readonly<Partial<Record<Compression, number>>> = { rle: 64, zips: 1032, zip: 1032 };

async function headerOf(source: FrameBytes): Promise<ExrHeader> {
  for (let length = FIRST_READ; ; length *= 8) {
    const bytes = await source.read(0, Math.min(length, MOST_HEADER));
    try {
      return readHeader(bytes, source.bytes);
    } catch (error) {
      if (!(error instanceof ExrHeaderCut)) throw error;
      if (length >= MOST_HEADER) throw new ExrDamage(`a header of more than ${MOST_HEADER} bytes`);
    }
  }
}

/** Entries of the offset table, in order of lines. */
async function tableOf(source: FrameBytes, { end, chunkCount }: ExrHeader): Promise<number[]> {
  if (end + chunkCount * TABLE_ENTRY > source.bytes)
    throw new ExrDamage(`the file ends inside the offset table, at byte ${source.bytes}`);
  const table = await source.read(end, chunkCount * TABLE_ENTRY);
  return Array.from({ length: chunkCount }, (_, index) => {
    const at = table.readBigUInt64LE(index * TABLE_ENTRY);
    if (at === 0n)
      throw new ExrDamage(
        `chunk ${index} of ${chunkCount} was never written: its entry in the offset table is 0`,
      );
    if (at > BigInt(source.bytes - BLOCK_HEAD))
      throw new ExrDamage(`chunk ${index} of ${chunkCount} lies at byte ${at} of ${source.bytes}`);
    return Number(at);
  });
}

/** `head`: line and length that lie at `at`; `fileBytes`: of the whole file. */
function chunkOf(
  header: ExrHeader,
  { index, at, head, fileBytes }: { index: number; at: number; head: Buffer; fileBytes: number },
): ExrChunk {
  const y = header.dataWindow.yMin + index * header.linesPerChunk;
  const lines = Math.min(header.linesPerChunk, header.height - index * header.linesPerChunk);
  const where = `chunk ${index} of ${header.chunkCount} at byte ${at}`;
  const [storedY, bytes] = [head.readInt32LE(0), head.readInt32LE(4)];
  if (storedY !== y) throw new ExrDamage(`${where} is of line ${storedY}, not ${y}`);
  const raw = lines * header.lineBytes;
  if (bytes < 1 || bytes > raw || (header.compression === 'none' && bytes !== raw))
    throw new ExrDamage(`${where} has ${bytes} bytes for ${lines} lines of ${header.lineBytes}`);
  const most = MOST_EXPANSION[header.compression];
  if (bytes !== raw && most !== undefined && raw > bytes * most)
    throw new ExrDamage(`${where} has ${bytes} bytes, which cannot be ${raw}`);
  if (at + BLOCK_HEAD + bytes > fileBytes)
    throw new ExrDamage(`${where} ends at byte ${at + BLOCK_HEAD + bytes}, the file at ${fileBytes}`);
  return { y, lines, at: at + BLOCK_HEAD, bytes };
}

/** Throws ExrDamage and ExrForeign. Reads the header, the table and the heads of the chunks, not their data. */
export async function walkExr(source: FrameBytes): Promise<WalkedExr> {
  const header = await headerOf(source);
  const offsets = await tableOf(source, header);
  const chunks: ExrChunk[] = [];
  for (const [index, at] of offsets.entries())
    chunks.push(
      chunkOf(header, { index, at, head: await source.read(at, BLOCK_HEAD), fileBytes: source.bytes }),
    );
  let end = header.end + TABLE_ENTRY * header.chunkCount;
  for (const { at, bytes, y } of chunks.toSorted((a, b) => a.at - b.at)) {
    const start = at - BLOCK_HEAD;
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
