/** Fields of a box, by their layout. */
import { type Box, MovieError, type Part, place } from './boxes.ts';
import { type Field, type Form, layouts, type LayoutName } from './layouts.ts';

export interface Value {
  /** Byte of the file. */
  readonly at: number;
  readonly value: number | string;
}

export interface Fields {
  readonly box: Box;
  readonly layout: LayoutName;
  readonly values: ReadonlyMap<string, Value>;
  /** Byte behind the last field. */
  readonly end: number;
}

/** Bytes that a form takes; null: as many as it says itself. */
function widthOf(form: Form, version: number): number | null {
  if (typeof form === 'number') return form;
  switch (form) {
    case 'u8':
      return 1;
    case 'u16':
    case 'i16':
    case 'fixed8':
      return 2;
    case 'u24':
      return 3;
    case 'u32':
    case 'i32':
    case 'fixed':
    case 'text':
      return 4;
    case 'u64':
      return 8;
    case 'time':
    case 'signed-time':
      return version === 1 ? 8 : 4;
    case 'matrix':
      return 36;
    case 'pascal32':
      return 32;
    default:
      return null;
  }
}

function wide(bytes: Buffer, at: number): number {
  const value = Number(bytes.readBigInt64BE(at));
  if (!Number.isSafeInteger(value))
    throw new MovieError(`a time of ${bytes.readBigUInt64BE(at)} in the index`);
  return value;
}

const letters = (bytes: Buffer, from: number, to: number): string => bytes.toString('utf8', from, to);

/** A text behind its length, in 32 bytes: what stands behind its end belongs to it, if it is anything. */
function padded(bytes: Buffer, at: number): string {
  const end = at + 1 + Math.min(31, bytes[at] as number);
  const behind = bytes.subarray(end, at + 32);
  return behind.every((byte) => byte === 0) ? letters(bytes, at + 1, end) : letters(bytes, at + 1, at + 32);
}

/** Value of a form of known width. */
function valueAt(bytes: Buffer, at: number, width: number, form: Form): number | string {
  if (typeof form === 'number') return bytes.toString('hex', at, at + form);
  switch (form) {
    case 'u8':
    case 'u16':
    case 'u24':
    case 'u32':
      return bytes.readUIntBE(at, width);
    case 'i16':
    case 'i32':
      return bytes.readIntBE(at, width);
    case 'fixed':
      return bytes.readUInt32BE(at) / 0x1_0000;
    case 'fixed8':
      return bytes.readInt16BE(at) / 0x100;
    case 'u64':
      return wide(bytes, at);
    case 'time':
      return width === 8 ? wide(bytes, at) : bytes.readUInt32BE(at);
    case 'signed-time':
      return width === 8 ? wide(bytes, at) : bytes.readInt32BE(at);
    case 'text':
      return bytes.toString('latin1', at, at + 4);
    case 'matrix':
      return Array.from(
        { length: 9 },
        (_, index) => bytes.readInt32BE(at + 4 * index) / (index % 3 === 2 ? 2 ** 30 : 2 ** 16),
      ).join(' ');
    case 'pascal32':
      return padded(bytes, at);
    default:
      return bytes.toString('hex', at, at + width);
  }
}

/** A text that says its own length, or takes what is left: its value and its width. */
function looseAt(bytes: Buffer, at: number, end: number, form: Form): { value: string; width: number } {
  if (form === 'pascal') {
    const length = bytes[at] ?? 0;
    return { value: letters(bytes, at + 1, at + 1 + length), width: 1 + length };
  }
  if (form === 'words') return { value: letters(bytes, at, end), width: end - at };
  return { value: bytes.toString('hex', at, end), width: end - at };
}

/** Throws MovieError for a box that ends before its fields do. */
export function readFields({ bytes, base }: Part, box: Box, layout: LayoutName): Fields {
  const values = new Map<string, Value>();
  const end = Math.min(box.start + box.head, base + bytes.length);
  let at = box.start;
  let version = 0;
  for (const [name, form] of layouts[layout] as readonly Field[]) {
    const fixed = widthOf(form, version);
    const loose = fixed === null ? looseAt(bytes, at - base, end - base, form) : null;
    const width = loose?.width ?? (fixed as number);
    if (at + width > end)
      throw new MovieError(
        `${place(box.path, box.at)} ends at byte ${end}, ${at + width} is needed for its ${name}`,
      );
    const value = loose?.value ?? valueAt(bytes, at - base, width, form);
    if (name === 'version' && form === 'u8') version = value as number;
    values.set(name, { at, value });
    at += width;
  }
  return { box, layout, values, end: at };
}
