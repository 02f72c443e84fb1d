/**
 * TIFF and DNG directories (TIFF 6.0; DNG specification for tags from 50706 on): raster, kind of values, rate,
 * timecode, and where the picture's bytes end.
 */
import type { FileHandle } from 'node:fs/promises';
import { readAt } from '../bytes.ts';
import { type Rate, ratio } from '../rate.ts';
import { StillDamage, type StillHeader, type StoredTimecode, storedTimecode } from './still.ts';

const TAG = {
  newSubfileType: 254,
  width: 256,
  height: 257,
  photometric: 262,
  stripOffsets: 273,
  stripBytes: 279,
  tileOffsets: 324,
  tileBytes: 325,
  subDirectories: 330,
  sampleFormat: 339,
  dngVersion: 50_706,
  timeCodes: 51_043,
  frameRate: 51_044,
  reelName: 51_081,
} as const;
/** Bytes of one value by field type; 13: directory offset. */
const TYPE_BYTES: Readonly<Record<number, number>> = { 1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4 };
const PHOTOMETRIC_CFA = 32_803;
const PHOTOMETRIC_LINEAR_RAW = 34_892;
const SAMPLE_FORMAT_FLOAT = 3;
const MOST_VALUE_BYTES = 16 * 1024 * 1024;

interface Field {
  readonly type: number;
  readonly bytes: Buffer;
}
type Directory = ReadonlyMap<number, Field>;

class TiffReader {
  readonly #handle: FileHandle;
  readonly #little: boolean;
  constructor(handle: FileHandle, little: boolean) {
    this.#handle = handle;
    this.#little = little;
  }
  u16(bytes: Buffer, at: number): number {
    return this.#little ? bytes.readUInt16LE(at) : bytes.readUInt16BE(at);
  }
  u32(bytes: Buffer, at: number): number {
    return this.#little ? bytes.readUInt32LE(at) : bytes.readUInt32BE(at);
  }
  i32(bytes: Buffer, at: number): number {
    return this.#little ? bytes.readInt32LE(at) : bytes.readInt32BE(at);
  }
  async directory(offset: number): Promise<Directory> {
    const count = await readAt(this.#handle, offset, 2);
    if (count.length < 2) throw new StillDamage('the directory lies beyond the end of the file');
    const entries = await readAt(this.#handle, offset + 2, this.u16(count, 0) * 12);
    if (entries.length < this.u16(count, 0) * 12) throw new StillDamage('the directory is cut off');
    const wanted = new Set<number>(Object.values(TAG));
    const fields = new Map<number, Field>();
    for (let at = 0; at < entries.length; at += 12) {
      const tag = this.u16(entries, at);
      const type = this.u16(entries, at + 2);
      const size = (TYPE_BYTES[type] ?? 0) * this.u32(entries, at + 4);
      if (!wanted.has(tag) || size === 0) continue;
      if (size > MOST_VALUE_BYTES) throw new StillDamage(`tag ${tag} of ${size} bytes`);
      const bytes = size <= 4 ? entries.subarray(at + 8, at + 8 + size) : await readAt(this.#handle, this.u32(entries, at + 8), size);
      if (bytes.length < size) throw new StillDamage(`tag ${tag} lies beyond the end of the file`);
      fields.set(tag, { type, bytes });
    }
    return fields;
  }
  /** Whole numbers of a field; empty when the field is not there. */
  numbers(directory: Directory, tag: number): number[] {
    const field = directory.get(tag);
    if (field === undefined) return [];
    const size = TYPE_BYTES[field.type] as number;
    if (size !== 1 && size !== 2 && size !== 4) return [];
    return Array.from({ length: field.bytes.length / size }, (_, index) => (size === 1 ? (field.bytes[index] as number) : size === 2 ? this.u16(field.bytes, index * 2) : this.u32(field.bytes, index * 4)));
  }
  rate(directory: Directory): Rate | null {
    const field = directory.get(TAG.frameRate);
    if (field === undefined || field.bytes.length < 8) return null;
    const [num, den] = [this.i32(field.bytes, 0), this.i32(field.bytes, 4)];
    return num > 0 && den > 0 ? ratio(num, den) : null;
  }
}

/** DNG's TimeCodes: eight bytes, BCD frames, seconds, minutes, hours first (layout of ST 331, 8.2). */
function timecodeOf(directory: Directory): StoredTimecode | null {
  const bytes = directory.get(TAG.timeCodes)?.bytes;
  if (bytes === undefined || bytes.length < 8) return null;
  return storedTimecode(bytes[3] as number, bytes[2] as number, bytes[1] as number, bytes[0] as number);
}

/** The main picture may be in a directory of its own below the first, which then holds a small preview. */
async function mainDirectory(reader: TiffReader, first: Directory): Promise<Directory> {
  if ((reader.numbers(first, TAG.newSubfileType)[0] ?? 0) === 0 && first.has(TAG.width)) return first;
  for (const offset of reader.numbers(first, TAG.subDirectories)) {
    const below = await reader.directory(offset);
    if ((reader.numbers(below, TAG.newSubfileType)[0] ?? 0) === 0 && below.has(TAG.width)) return below;
  }
  return first;
}

export async function readTiff(handle: FileHandle): Promise<StillHeader> {
  const head = await readAt(handle, 0, 8);
  const order = head.toString('latin1', 0, 2);
  if (head.length < 8 || (order !== 'II' && order !== 'MM')) throw new StillDamage('no TIFF magic number');
  const reader = new TiffReader(handle, order === 'II');
  if (reader.u16(head, 2) === 43) throw new StillDamage('a BigTIFF file, which this version does not read');
  if (reader.u16(head, 2) !== 42) throw new StillDamage('no TIFF magic number');
  const first = await reader.directory(reader.u32(head, 4));
  const main = await mainDirectory(reader, first);
  const width = reader.numbers(main, TAG.width)[0] ?? 0;
  const height = reader.numbers(main, TAG.height)[0] ?? 0;
  if (width === 0 || height === 0) throw new StillDamage(`raster ${width}x${height}`);
  const dng = first.has(TAG.dngVersion);
  const photometric = reader.numbers(main, TAG.photometric)[0];
  const raw = dng || photometric === PHOTOMETRIC_CFA || photometric === PHOTOMETRIC_LINEAR_RAW;
  const offsets = [...reader.numbers(main, TAG.stripOffsets), ...reader.numbers(main, TAG.tileOffsets)];
  const sizes = [...reader.numbers(main, TAG.stripBytes), ...reader.numbers(main, TAG.tileBytes)];
  if (offsets.length === 0 || offsets.length !== sizes.length) throw new StillDamage(`${offsets.length} pieces of picture with ${sizes.length} sizes`);
  return {
    format: dng ? 'dng' : 'tiff',
    kind: raw ? 'camera-raw' : reader.numbers(main, TAG.sampleFormat).includes(SAMPLE_FORMAT_FLOAT) ? 'scene-linear' : 'encoded',
    width,
    height,
    pixelAspect: null,
    rate: reader.rate(first),
    timecode: timecodeOf(first),
    reel: first.get(TAG.reelName)?.bytes.toString('utf8').replace(/\0.*$/s, '') ?? null,
    neededBytes: offsets.reduce((end, offset, index) => Math.max(end, offset + (sizes[index] as number)), 0),
  };
}
