/** The checker's own reading of a still: every chunk of the file, its checksum, and every sample. What a still has no use for is refused. */
import { inflateSync } from 'node:zlib';
import { crc32 } from '../crc32.ts';

export interface ReadStill {
  readonly width: number;
  readonly height: number;
  readonly bits: 8 | 16;
  /** R, G, B by pixel, line by line. */
  readonly samples: Uint16Array;
  /** Names of the chunks, in order. */
  readonly chunks: readonly string[];
  /** ColourPrimaries, TransferCharacteristics, MatrixCoefficients, full range, as cICP has them. */
  readonly coding: readonly number[];
  /** Pixels per unit across and down; null: square. */
  readonly perUnit: readonly [across: number, down: number] | null;
  readonly texts: ReadonlyMap<string, string>;
}

/** What is wrong with it, in words. */
export class StillDamaged extends Error {
  constructor(message: string) {
    super(message);
    this.name = 'StillDamaged';
  }
}

const SIGNATURE = '89504e470d0a1a0a';
/** Far beyond any still: what a file claims beyond it is not made room for. */
const MOST_PIXELS = 2 ** 28;

interface Chunk {
  readonly type: string;
  readonly data: Buffer;
}

function chunksOf(file: Buffer): Chunk[] {
  if (file.subarray(0, 8).toString('hex') !== SIGNATURE) throw new StillDamaged('no PNG signature');
  const chunks: Chunk[] = [];
  let at = 8;
  while (at < file.length) {
    if (at + 12 > file.length) throw new StillDamaged(`cut off in a chunk at byte ${at}`);
    const length = file.readUInt32BE(at);
    if (at + 12 + length > file.length) throw new StillDamaged(`cut off in a chunk at byte ${at}`);
    const type = file.toString('latin1', at + 4, at + 8);
    if (crc32(file.subarray(at + 4, at + 8 + length)) !== file.readUInt32BE(at + 8 + length))
      throw new StillDamaged(`checksum of chunk ${JSON.stringify(type)} at byte ${at}`);
    chunks.push({ type, data: file.subarray(at + 8, at + 8 + length) });
    at += 12 + length;
  }
  return chunks;
}

const only = (chunks: readonly Chunk[], type: string): Buffer => {
  const [one, ...more] = chunks.filter((chunk) => chunk.type === type);
  if (one === undefined || more.length > 0) throw new StillDamaged(`${1 + more.length} chunks ${type}`);
  return one.data;
};

function textOf(data: Buffer): [string, string] {
  const end = data.indexOf(0);
  const rest = data.subarray(end + 1);
  // Not compressed, no language, no translated keyword.
  if (end < 1 || rest.subarray(0, 4).toString('hex') !== '00000000')
    throw new StillDamaged('text of another form');
  return [data.toString('latin1', 0, end), rest.toString('utf8', 4)];
}

/** Undoes the filter of each line (clause 9.2); gives the bytes of the samples. */
function unfiltered(bytes: Buffer, line: number, step: number, height: number): Buffer {
  const out = Buffer.alloc(line * height);
  let before: Buffer = Buffer.alloc(line);
  for (let y = 0; y < height; y += 1) {
    const kind = bytes[y * (line + 1)] as number;
    if (kind > 4) throw new StillDamaged(`filter ${kind}`);
    const coded = bytes.subarray(y * (line + 1) + 1, (y + 1) * (line + 1));
    const own = out.subarray(y * line, (y + 1) * line);
    for (let x = 0; x < line; x += 1) {
      const left = x < step ? 0 : (own[x - step] as number);
      const up = before[x] as number;
      const corner = x < step ? 0 : (before[x - step] as number);
      own[x] = (coded[x] as number) + predicted(kind, left, up, corner);
    }
    before = own;
  }
  return out;
}

function predicted(kind: number, left: number, up: number, corner: number): number {
  if (kind === 0) return 0;
  if (kind === 1) return left;
  if (kind === 2) return up;
  if (kind === 3) return (left + up) >> 1;
  const a = Math.abs(up - corner);
  const b = Math.abs(left - corner);
  const c = Math.abs(left + up - 2 * corner);
  return a <= b && a <= c ? left : b <= c ? up : corner;
}

/** Throws StillDamaged. */
export function readStill(file: Buffer): ReadStill {
  const chunks = chunksOf(file);
  if (chunks[0]?.type !== 'IHDR' || chunks.at(-1)?.type !== 'IEND')
    throw new StillDamaged('it does not begin with IHDR or end with IEND');
  const header = only(chunks, 'IHDR');
  if (header.length !== 13) throw new StillDamaged('IHDR of another length');
  const [width, height] = [header.readUInt32BE(0), header.readUInt32BE(4)];
  const bits = header[8];
  if ((bits !== 8 && bits !== 16) || header.subarray(9).toString('hex') !== '02000000')
    throw new StillDamaged('no true colour of 8 or 16 bits, not interlaced');
  if (width === 0 || height === 0 || width * height > MOST_PIXELS)
    throw new StillDamaged(`${width}x${height} pixels`);
  const step = (3 * bits) / 8;
  const wanted = (width * step + 1) * height;
  const packed = Buffer.concat(chunks.filter(({ type }) => type === 'IDAT').map(({ data }) => data));
  let bytes: Buffer;
  try {
    bytes = inflateSync(packed, { maxOutputLength: wanted + 1 });
  } catch (error) {
    throw new StillDamaged(`its samples do not inflate: ${(error as Error).message}`);
  }
  if (bytes.length !== wanted) throw new StillDamaged(`${bytes.length} bytes of lines, not ${wanted}`);
  const plain = unfiltered(bytes, width * step, step, height);
  const samples = new Uint16Array(3 * width * height);
  for (let at = 0; at < samples.length; at += 1)
    samples[at] = bits === 8 ? (plain[at] as number) : plain.readUInt16BE(2 * at);
  const aspect = chunks.some(({ type }) => type === 'pHYs') ? only(chunks, 'pHYs') : null;
  const texts = chunks.filter(({ type }) => type === 'iTXt').map(({ data }) => textOf(data));
  return {
    width,
    height,
    bits,
    samples,
    chunks: chunks.map(({ type }) => type),
    coding: [...only(chunks, 'cICP')],
    perUnit: aspect === null ? null : [aspect.readUInt32BE(0), aspect.readUInt32BE(4)],
    texts: new Map(texts),
  };
}
