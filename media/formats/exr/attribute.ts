/**
 * Attributes of an OpenEXR header: a name, a type, bytes; and the values of the types that the format predefines
 * (OpenEXR file layout, openexr.com, "Predefined attribute types"). Little-endian throughout.
 */
import type { StatedValue, statedTypes } from '../stated-schema.ts';
import { StillDamage } from '../still.ts';
import type { StoredTimecodeWords } from '../timecode.ts';

export interface ExrAttribute {
  readonly name: string;
  readonly type: string;
  readonly bytes: Uint8Array;
}

/** Compressions by their number. */
export const exrCompressions = [
  'none',
  'rle',
  'zips',
  'zip',
  'piz',
  'pxr24',
  'b44',
  'b44a',
  'dwaa',
  'dwab',
] as const;
export type ExrCompression = (typeof exrCompressions)[number];
export const exrLineOrders = ['increasing-y', 'decreasing-y', 'random-y'] as const;
export type ExrLineOrder = (typeof exrLineOrders)[number];
/** Kinds of sample by their number. */
export const exrPixelTypes = ['uint', 'half', 'float'] as const;
export type ExrPixelType = (typeof exrPixelTypes)[number];
export const bytesOfPixelType: Readonly<Record<ExrPixelType, number>> = { uint: 4, half: 2, float: 4 };

export interface ExrChannel {
  readonly name: string;
  readonly pixelType: ExrPixelType;
  readonly linear: boolean;
  readonly xSampling: number;
  readonly ySampling: number;
}
/** Corners are inside. */
export interface Box {
  readonly xMin: number;
  readonly yMin: number;
  readonly xMax: number;
  readonly yMax: number;
}
/** CIE 1931 x, y of each. */
export interface Chromaticities {
  readonly red: readonly [number, number];
  readonly green: readonly [number, number];
  readonly blue: readonly [number, number];
  readonly white: readonly [number, number];
}
/** A quotient as stored, whatever its terms: int32 over uint32. */
export interface StoredRational {
  readonly num: number;
  readonly den: number;
}

export interface ExrValues {
  box2i: Box;
  chlist: readonly ExrChannel[];
  chromaticities: Chromaticities;
  compression: ExrCompression;
  double: number;
  float: number;
  int: number;
  keycode: readonly number[];
  lineOrder: ExrLineOrder;
  m33f: readonly number[];
  m44f: readonly number[];
  preview: { readonly width: number; readonly height: number; readonly rgba: Uint8Array };
  rational: StoredRational;
  string: string;
  stringvector: readonly string[];
  timecode: StoredTimecodeWords;
  v2f: readonly number[];
  v2i: readonly number[];
  v3f: readonly number[];
  v3i: readonly number[];
}
export type ExrType = keyof ExrValues;

interface Codec<Value> {
  write(value: Value): Uint8Array;
  /** Throws StillDamage. */
  read(bytes: Buffer): Value;
}

function sized(bytes: Buffer, size: number): void {
  if (bytes.length !== size) throw new StillDamage(`${bytes.length} bytes of ${size}`);
}
function int32(value: number): number {
  if (!Number.isInteger(value) || value < -(2 ** 31) || value >= 2 ** 31)
    throw new RangeError(`${value} is no whole number of 32 bits with sign`);
  return value;
}
function uint32(value: number): number {
  if (!Number.isInteger(value) || value < 0 || value >= 2 ** 32)
    throw new RangeError(`${value} is no whole number of 32 bits`);
  return value;
}
function float32(value: number): number {
  if (!Number.isFinite(Math.fround(value))) throw new RangeError(`${value} is no finite 32-bit float`);
  return value;
}

function numbers(
  count: number,
  put: (bytes: Buffer, value: number, at: number) => void,
  take: (bytes: Buffer, at: number) => number,
): Codec<readonly number[]> {
  return {
    write: (values) => {
      if (values.length !== count) throw new RangeError(`${values.length} numbers where ${count} are needed`);
      const bytes = Buffer.alloc(4 * count);
      values.forEach((value, index) => {
        put(bytes, value, 4 * index);
      });
      return bytes;
    },
    read: (bytes) => {
      sized(bytes, 4 * count);
      return Array.from({ length: count }, (_, index) => take(bytes, 4 * index));
    },
  };
}
const ints = (count: number): Codec<readonly number[]> =>
  numbers(
    count,
    (bytes, value, at) => bytes.writeInt32LE(int32(value), at),
    (bytes, at) => bytes.readInt32LE(at),
  );
const floats = (count: number): Codec<readonly number[]> =>
  numbers(
    count,
    (bytes, value, at) => bytes.writeFloatLE(float32(value), at),
    (bytes, at) => bytes.readFloatLE(at),
  );

/** One value of a codec for lists of one. */
function single({ write, read }: Codec<readonly number[]>): Codec<number> {
  return { write: (value) => write([value]), read: (bytes) => read(bytes)[0] as number };
}

/** A byte that is the place of a word in a list. */
function word<Word extends string>(words: readonly Word[], what: string): Codec<Word> {
  return {
    write: (value) => Buffer.of(words.indexOf(value)),
    read: (bytes) => {
      sized(bytes, 1);
      const value = words[bytes[0] as number];
      if (value === undefined) throw new StillDamage(`${what} ${bytes[0]}`);
      return value;
    },
  };
}

const channelList: Codec<readonly ExrChannel[]> = {
  write: (channels) => {
    const parts = channels.map(({ name, pixelType, linear, xSampling, ySampling }) => {
      const entry = Buffer.alloc(16);
      entry.writeInt32LE(exrPixelTypes.indexOf(pixelType), 0);
      entry.writeUInt8(linear ? 1 : 0, 4);
      entry.writeInt32LE(int32(xSampling), 8);
      entry.writeInt32LE(int32(ySampling), 12);
      return Buffer.concat([Buffer.from(`${name}\0`, 'latin1'), entry]);
    });
    return Buffer.concat([...parts, Buffer.of(0)]);
  },
  read: (bytes) => {
    const channels: ExrChannel[] = [];
    let at = 0;
    for (;;) {
      const end = bytes.indexOf(0, at);
      if (end < 0) throw new StillDamage('the list does not end');
      if (end === at) break;
      if (end + 17 > bytes.length) throw new StillDamage('the last entry is cut off');
      const name = bytes.toString('latin1', at, end);
      const kind = bytes.readInt32LE(end + 1);
      const pixelType = exrPixelTypes[kind];
      if (pixelType === undefined) throw new StillDamage(`pixel type ${kind} of channel ${name}`);
      channels.push({
        name,
        pixelType,
        linear: bytes[end + 5] !== 0,
        xSampling: bytes.readInt32LE(end + 9),
        ySampling: bytes.readInt32LE(end + 13),
      });
      at = end + 17;
    }
    if (at + 1 !== bytes.length) throw new StillDamage(`${bytes.length - at - 1} bytes behind the list`);
    return channels;
  },
};

const codecs: { readonly [Type in ExrType]: Codec<ExrValues[Type]> } = {
  box2i: {
    write: ({ xMin, yMin, xMax, yMax }) => ints(4).write([xMin, yMin, xMax, yMax]),
    read: (bytes) => {
      const [xMin, yMin, xMax, yMax] = ints(4).read(bytes) as [number, number, number, number];
      return { xMin, yMin, xMax, yMax };
    },
  },
  chlist: channelList,
  chromaticities: {
    write: ({ red, green, blue, white }) => floats(8).write([...red, ...green, ...blue, ...white]),
    read: (bytes) => {
      const [rx, ry, gx, gy, bx, by, wx, wy] = floats(8).read(bytes) as [
        number,
        number,
        number,
        number,
        number,
        number,
        number,
        number,
      ];
      return { red: [rx, ry], green: [gx, gy], blue: [bx, by], white: [wx, wy] };
    },
  },
  compression: word(exrCompressions, 'compression'),
  double: {
    write: (value) => {
      const bytes = Buffer.alloc(8);
      bytes.writeDoubleLE(value);
      return bytes;
    },
    read: (bytes) => {
      sized(bytes, 8);
      return bytes.readDoubleLE(0);
    },
  },
  float: single(floats(1)),
  int: single(ints(1)),
  keycode: ints(7),
  lineOrder: word(exrLineOrders, 'line order'),
  m33f: floats(9),
  m44f: floats(16),
  preview: {
    write: ({ width, height, rgba }) => {
      if (rgba.length !== 4 * width * height)
        throw new RangeError(`${rgba.length} bytes for a preview of ${width}x${height}`);
      const head = Buffer.alloc(8);
      head.writeUInt32LE(uint32(width), 0);
      head.writeUInt32LE(uint32(height), 4);
      return Buffer.concat([head, rgba]);
    },
    read: (bytes) => {
      if (bytes.length < 8) throw new StillDamage(`${bytes.length} bytes of 8 and more`);
      const [width, height] = [bytes.readUInt32LE(0), bytes.readUInt32LE(4)];
      sized(bytes, 8 + 4 * width * height);
      return { width, height, rgba: bytes.subarray(8) };
    },
  },
  rational: {
    write: ({ num, den }) => {
      const bytes = Buffer.alloc(8);
      bytes.writeInt32LE(int32(num), 0);
      bytes.writeUInt32LE(uint32(den), 4);
      return bytes;
    },
    read: (bytes) => {
      sized(bytes, 8);
      return { num: bytes.readInt32LE(0), den: bytes.readUInt32LE(4) };
    },
  },
  string: { write: (value) => Buffer.from(value, 'utf8'), read: (bytes) => bytes.toString('utf8') },
  stringvector: {
    write: (values) =>
      Buffer.concat(
        values.map((value) => {
          const text = Buffer.from(value, 'utf8');
          return Buffer.concat([ints(1).write([text.length]), text]);
        }),
      ),
    read: (bytes) => {
      const values: string[] = [];
      for (let at = 0; at < bytes.length; ) {
        const length = at + 4 <= bytes.length ? bytes.readInt32LE(at) : -1;
        if (length < 0 || at + 4 + length > bytes.length) throw new StillDamage('a text that does not end');
        values.push(bytes.toString('utf8', at + 4, at + 4 + length));
        at += 4 + length;
      }
      return values;
    },
  },
  timecode: {
    write: ({ timeAndFlags, userData }) => {
      const bytes = Buffer.alloc(8);
      bytes.writeUInt32LE(uint32(timeAndFlags), 0);
      bytes.writeUInt32LE(uint32(userData), 4);
      return bytes;
    },
    read: (bytes) => {
      sized(bytes, 8);
      return { timeAndFlags: bytes.readUInt32LE(0), userData: bytes.readUInt32LE(4) };
    },
  },
  v2f: floats(2),
  v2i: ints(2),
  v3f: floats(3),
  v3i: ints(3),
};

/** Throws RangeError for a value that the type cannot hold. */
export function exrAttribute<Type extends ExrType>(
  name: string,
  type: Type,
  value: ExrValues[Type],
): ExrAttribute {
  try {
    return { name, type, bytes: codecs[type].write(value) };
  } catch (error) {
    throw error instanceof RangeError ? new RangeError(`${name}: ${error.message}`) : error;
  }
}

/** An attribute of what a source states. Throws RangeError for a value that the type cannot hold. */
export function statedAttribute(
  name: string,
  type: (typeof statedTypes)[number],
  value: StatedValue,
): ExrAttribute {
  const wrong = (): never => {
    throw new RangeError(`${name}: ${JSON.stringify(value)} is no ${type}`);
  };
  const numbers = (): readonly number[] =>
    Array.isArray(value) ? value.map((one) => (typeof one === 'number' ? one : wrong())) : wrong();
  switch (type) {
    case 'float':
      if (value === 'infinity') {
        const bytes = Buffer.alloc(4);
        bytes.writeFloatLE(Number.POSITIVE_INFINITY);
        return { name, type, bytes };
      }
      return typeof value === 'number' ? exrAttribute(name, type, value) : wrong();
    case 'double':
    case 'int':
      return typeof value === 'number' ? exrAttribute(name, type, value) : wrong();
    case 'string':
      return typeof value === 'string' ? exrAttribute(name, type, value) : wrong();
    case 'stringvector':
      return Array.isArray(value) ? exrAttribute(name, type, value.map(String)) : wrong();
    case 'rational': {
      const [num, den] = numbers();
      return num === undefined || den === undefined ? wrong() : exrAttribute(name, type, { num, den });
    }
    default:
      return exrAttribute(name, type, numbers());
  }
}

function readAs<Type extends ExrType>({ name, bytes }: ExrAttribute, type: Type): ExrValues[Type] {
  try {
    return codecs[type].read(Buffer.from(bytes.buffer, bytes.byteOffset, bytes.length));
  } catch (error) {
    throw error instanceof StillDamage ? new StillDamage(`attribute ${name}: ${error.message}`) : error;
  }
}

/** Value of the attribute of that name; null without one. Throws StillDamage when it is of another type. */
export function exrValue<Type extends ExrType>(
  attributes: ReadonlyMap<string, ExrAttribute>,
  name: string,
  type: Type,
): ExrValues[Type] | null {
  const attribute = attributes.get(name);
  if (attribute === undefined) return null;
  if (attribute.type !== type)
    throw new StillDamage(`attribute ${name} is of type ${attribute.type}, not ${type}`);
  return readAs(attribute, type);
}
