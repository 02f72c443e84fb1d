/**
 * TIFF directories (TIFF 6.0, sections 2 and 3), both byte orders: the one parser of TIFF and DNG files. Values are read when they
 * are asked for, so that a header costs two or three reads of the file.
 */
import type { FileHandle } from 'node:fs/promises';
import { readAt } from '../../../files/bytes.ts';
import { StillDamage } from '../still.ts';

/** Where bytes come from: an open file, or a file that is in memory. */
export interface ByteSource {
  readonly size: number;
  /** Fewer bytes only at the end of the file. */
  read(position: number, length: number): Promise<Buffer>;
}

/** One request over a network brings as much as directories and their values usually need. */
const WINDOW_BYTES = 64 * 1024;

/** Keeps the piece it read last: values lie beside their directory. */
export function sourceOfFile(handle: FileHandle, size: number): ByteSource {
  let at = 0;
  let window: Buffer = Buffer.alloc(0);
  return {
    size,
    read: async (position, length) => {
      if (length > WINDOW_BYTES)
        return await readAt(handle, position, Math.max(0, Math.min(length, size - position)));
      if (position < at || position + length > at + window.length) {
        window = await readAt(handle, position, Math.max(0, Math.min(WINDOW_BYTES, size - position)));
        at = position;
      }
      return window.subarray(position - at, position - at + length);
    },
  };
}

export function sourceOfBytes(bytes: Buffer): ByteSource {
  return {
    size: bytes.length,
    read: async (position, length) => bytes.subarray(position, position + length),
  };
}

export const fieldTypes = [
  'byte',
  'ascii',
  'short',
  'long',
  'rational',
  'sbyte',
  'undefined',
  'sshort',
  'slong',
  'srational',
  'float',
  'double',
  'ifd',
] as const;
export type FieldType = (typeof fieldTypes)[number];
/** Bytes of one value. */
const TYPE_BYTES: Readonly<Record<FieldType, number>> = {
  byte: 1,
  ascii: 1,
  short: 2,
  long: 4,
  rational: 8,
  sbyte: 1,
  undefined: 1,
  sshort: 2,
  slong: 4,
  srational: 8,
  float: 4,
  double: 8,
  ifd: 4,
};
/** The largest value here is an opcode list with gain maps. */
const MOST_VALUE_BYTES = 16 * 1024 * 1024;
/** The longest lists of numbers are those of a picture's pieces (pieces.ts). */
const MOST_NUMBERS = 1024 * 1024;
const ENTRY_BYTES = 12;

interface Entry {
  readonly type: FieldType;
  readonly count: number;
  /** The four bytes that hold the value, or where it is. */
  readonly field: Buffer;
}

export class TiffDirectory {
  readonly #file: TiffFile;
  readonly #entries: ReadonlyMap<number, Entry>;
  constructor(file: TiffFile, entries: ReadonlyMap<number, Entry>) {
    this.#file = file;
    this.#entries = entries;
  }

  has(tag: number): boolean {
    return this.#entries.has(tag);
  }

  /** Values in the field, 0 when it is not there. */
  count(tag: number): number {
    return this.#entries.get(tag)?.count ?? 0;
  }

  /** The field's bytes as stored; null when it is not there. Throws StillDamage when they lie beyond the end of the file. */
  async bytes(tag: number): Promise<Buffer | null> {
    const entry = this.#entries.get(tag);
    if (entry === undefined) return null;
    const size = TYPE_BYTES[entry.type] * entry.count;
    if (size <= 4) return entry.field.subarray(0, size);
    if (size > MOST_VALUE_BYTES) throw new StillDamage(`tag ${tag} of ${size} bytes`);
    const bytes = await this.#file.source.read(this.#file.u32(entry.field, 0), size);
    if (bytes.length < size) throw new StillDamage(`tag ${tag} lies beyond the end of the file`);
    return bytes;
  }

  /** Numerators and denominators; a whole number has denominator 1. Empty when the field is not there, or holds text. */
  async pairs(tag: number): Promise<[num: number, den: number][]> {
    const entry = this.#entries.get(tag);
    if (entry === undefined || entry.type === 'ascii') return [];
    if (entry.count > MOST_NUMBERS) throw new StillDamage(`tag ${tag} of ${entry.count} numbers`);
    const bytes = await this.bytes(tag);
    if (bytes === null) return [];
    const size = TYPE_BYTES[entry.type];
    return Array.from({ length: entry.count }, (_, index) =>
      this.#file.pair(bytes, index * size, entry.type),
    );
  }

  /** Numbers; NaN for a rational without a denominator. Empty when the field is not there, or holds text. */
  async numbers(tag: number): Promise<number[]> {
    return (await this.pairs(tag)).map(([num, den]) => (den === 0 ? Number.NaN : num / den));
  }

  async number(tag: number): Promise<number | null> {
    return (await this.numbers(tag))[0] ?? null;
  }

  /** Text up to its first NUL, without blanks around it; null when the field is not there or blank. */
  async text(tag: number): Promise<string | null> {
    const bytes = await this.bytes(tag);
    const text = bytes?.toString('utf8').replace(/\0.*$/s, '').trim() ?? '';
    return text === '' ? null : text;
  }
}

export class TiffFile {
  readonly source: ByteSource;
  readonly littleEndian: boolean;
  private constructor(source: ByteSource, littleEndian: boolean) {
    this.source = source;
    this.littleEndian = littleEndian;
  }

  /** The file and its first directory. Throws StillDamage for what is no TIFF, and for BigTIFF. */
  static async open(source: ByteSource): Promise<{ file: TiffFile; first: TiffDirectory }> {
    const head = await source.read(0, 8);
    const order = head.toString('latin1', 0, 2);
    if (head.length < 8 || (order !== 'II' && order !== 'MM')) throw new StillDamage('no TIFF magic number');
    const file = new TiffFile(source, order === 'II');
    const magic = file.u16(head, 2);
    if (magic === 43) throw new StillDamage('a BigTIFF file, which this version does not read');
    if (magic !== 42) throw new StillDamage('no TIFF magic number');
    return { file, first: await file.directory(file.u32(head, 4)) };
  }

  async directory(offset: number): Promise<TiffDirectory> {
    const head = await this.source.read(offset, 2);
    if (head.length < 2) throw new StillDamage('the directory lies beyond the end of the file');
    const bytes = await this.source.read(offset + 2, this.u16(head, 0) * ENTRY_BYTES);
    if (bytes.length < this.u16(head, 0) * ENTRY_BYTES) throw new StillDamage('the directory is cut off');
    const entries = new Map<number, Entry>();
    for (let at = 0; at < bytes.length; at += ENTRY_BYTES) {
      const type = fieldTypes[this.u16(bytes, at + 2) - 1];
      const count = this.u32(bytes, at + 4);
      const tag = this.u16(bytes, at);
      // TIFF 6.0, section 2: fields of unknown type are passed over.
      if (type !== undefined && count > 0 && !entries.has(tag))
        entries.set(tag, { type, count, field: bytes.subarray(at + 8, at + ENTRY_BYTES) });
    }
    return new TiffDirectory(this, entries);
  }

  u16(bytes: Buffer, at: number): number {
    return this.littleEndian ? bytes.readUInt16LE(at) : bytes.readUInt16BE(at);
  }
  u32(bytes: Buffer, at: number): number {
    return this.littleEndian ? bytes.readUInt32LE(at) : bytes.readUInt32BE(at);
  }
  #i32(bytes: Buffer, at: number): number {
    return this.u32(bytes, at) | 0;
  }

  pair(bytes: Buffer, at: number, type: FieldType): [num: number, den: number] {
    switch (type) {
      case 'short':
        return [this.u16(bytes, at), 1];
      case 'sshort':
        return [(this.u16(bytes, at) << 16) >> 16, 1];
      case 'long':
      case 'ifd':
        return [this.u32(bytes, at), 1];
      case 'slong':
        return [this.#i32(bytes, at), 1];
      case 'rational':
        return [this.u32(bytes, at), this.u32(bytes, at + 4)];
      case 'srational':
        return [this.#i32(bytes, at), this.#i32(bytes, at + 4)];
      case 'float':
        return [this.littleEndian ? bytes.readFloatLE(at) : bytes.readFloatBE(at), 1];
      case 'double':
        return [this.littleEndian ? bytes.readDoubleLE(at) : bytes.readDoubleBE(at), 1];
      case 'sbyte':
        return [bytes.readInt8(at), 1];
      case 'byte':
      case 'undefined':
      case 'ascii':
        return [bytes.readUInt8(at), 1];
    }
  }
}
