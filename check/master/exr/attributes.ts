/** Values of the attributes of an OpenEXR header ("OpenEXR File Layout", openexr.com, "Predefined Attribute Types"). Little-endian. */
import { ExrDamage } from './damage.ts';
import {
  type Compression,
  compressions,
  type LineOrder,
  lineOrders,
  type SampleKind,
  sampleKinds,
} from './standard.ts';

export interface Attribute {
  readonly name: string;
  readonly type: string;
  readonly bytes: Uint8Array;
  /** Where its value begins in the file. */
  readonly at: number;
}

/** Corners are inside. */
export interface Window {
  readonly xMin: number;
  readonly yMin: number;
  readonly xMax: number;
  readonly yMax: number;
}

export interface Channel {
  readonly name: string;
  readonly kind: SampleKind;
  /** Of one sample. */
  readonly bytes: number;
  /** pLinear, a hint for lossy compression; or one of the three bytes behind it, which are reserved and zero. */
  readonly linear: boolean;
  readonly xSampling: number;
  readonly ySampling: number;
}

export interface Values {
  box2i: Window;
  chlist: readonly Channel[];
  /** x, y of red, green, blue, white. */
  chromaticities: readonly number[];
  compression: Compression;
  float: number;
  int: number;
  lineOrder: LineOrder;
  rational: { readonly num: number; readonly den: number };
  string: string;
  /** Time and flags, user data. */
  timecode: readonly [number, number];
  v2f: readonly number[];
}

/** Bytes of the types that have one size; those of `Values` without an entry have a reader that looks for itself. */
const SIZES: Readonly<Record<string, number>> = {
  box2i: 16,
  chromaticities: 32,
  compression: 1,
  double: 8,
  float: 4,
  int: 4,
  keycode: 28,
  lineOrder: 1,
  m33f: 36,
  m44f: 64,
  rational: 8,
  timecode: 8,
  v2f: 8,
  v2i: 8,
  v3f: 12,
  v3i: 12,
};

const floats = (bytes: Buffer): number[] =>
  Array.from({ length: bytes.length / 4 }, (_, index) => bytes.readFloatLE(4 * index));

/** A list of channels: name, NUL, kind, pLinear and three bytes beside it, two samplings; NUL behind the last. */
function channelsOf(bytes: Buffer): Channel[] {
  const channels: Channel[] = [];
  for (let at = 0; ; ) {
    const end = bytes.indexOf(0, at);
    if (end < 0) throw new ExrDamage('the list does not end');
    if (end === at) {
      if (end + 1 < bytes.length) throw new ExrDamage(`${bytes.length - end - 1} bytes behind the list`);
      return channels;
    }
    if (bytes.length < end + 17) throw new ExrDamage('the last entry is cut off');
    const name = bytes.toString('latin1', at, end);
    const number = bytes.readInt32LE(end + 1);
    const kind = sampleKinds[number];
    if (kind === undefined) throw new ExrDamage(`pixel type ${number} of channel ${name}`);
    channels.push({
      name,
      kind: kind.name,
      bytes: kind.bytes,
      linear: bytes.subarray(end + 5, end + 9).some((byte) => byte !== 0),
      xSampling: bytes.readInt32LE(end + 9),
      ySampling: bytes.readInt32LE(end + 13),
    });
    at = end + 17;
  }
}

const readers: { readonly [Type in keyof Values]: (bytes: Buffer) => Values[Type] } = {
  box2i: (bytes) => ({
    xMin: bytes.readInt32LE(0),
    yMin: bytes.readInt32LE(4),
    xMax: bytes.readInt32LE(8),
    yMax: bytes.readInt32LE(12),
  }),
  chlist: channelsOf,
  chromaticities: floats,
  compression: (bytes) => {
    const found = compressions[bytes.readUInt8(0)];
    if (found === undefined) throw new ExrDamage(`compression ${bytes.readUInt8(0)}`);
    return found.name;
  },
  float: (bytes) => bytes.readFloatLE(0),
  int: (bytes) => bytes.readInt32LE(0),
  lineOrder: (bytes) => {
    const found = lineOrders[bytes.readUInt8(0)];
    if (found === undefined) throw new ExrDamage(`line order ${bytes.readUInt8(0)}`);
    return found;
  },
  rational: (bytes) => ({ num: bytes.readInt32LE(0), den: bytes.readUInt32LE(4) }),
  string: (bytes) => bytes.toString('utf8'),
  timecode: (bytes) => [bytes.readUInt32LE(0), bytes.readUInt32LE(4)],
  v2f: floats,
};

const isRead = (type: string): type is keyof Values => Object.hasOwn(readers, type);

function readAs<Type extends keyof Values>({ name, bytes }: Attribute, type: Type): Values[Type] {
  const size = SIZES[type];
  try {
    if (size !== undefined && bytes.length !== size) throw new ExrDamage(`${bytes.length} bytes of ${size}`);
    return readers[type](Buffer.from(bytes.buffer, bytes.byteOffset, bytes.length));
  } catch (error) {
    throw error instanceof ExrDamage ? new ExrDamage(`attribute ${name}: ${error.message}`) : error;
  }
}

/** Numbers of the types that are nothing but some of them. */
const numbersIn: Readonly<Record<string, (bytes: Buffer, at: number) => number>> = {
  keycode: (bytes, at) => bytes.readInt32LE(at),
  m33f: (bytes, at) => bytes.readFloatLE(at),
  m44f: (bytes, at) => bytes.readFloatLE(at),
  v2f: (bytes, at) => bytes.readFloatLE(at),
  v2i: (bytes, at) => bytes.readInt32LE(at),
  v3f: (bytes, at) => bytes.readFloatLE(at),
  v3i: (bytes, at) => bytes.readInt32LE(at),
};

/** Texts one behind the other, each with its length in front. */
function textsIn(bytes: Buffer): string[] {
  const texts: string[] = [];
  for (let at = 0; at < bytes.length; ) {
    const end = at + 4 + (at + 4 <= bytes.length ? bytes.readInt32LE(at) : -1);
    if (end < at + 4 || end > bytes.length) throw new ExrDamage('a text that does not end');
    texts.push(bytes.toString('utf8', at + 4, end));
    at = end;
  }
  return texts;
}

/** The value in words; types that have none here are their bytes. Throws ExrDamage. */
export function attributeText(attribute: Attribute): string {
  const { type } = attribute;
  requireValue(attribute);
  const bytes = Buffer.from(attribute.bytes.buffer, attribute.bytes.byteOffset, attribute.bytes.length);
  const read = numbersIn[type];
  if (read !== undefined)
    return Array.from({ length: bytes.length / 4 }, (_, index) => String(read(bytes, 4 * index))).join(' ');
  switch (type) {
    case 'float':
      return String(bytes.readFloatLE(0));
    case 'double':
      return String(bytes.readDoubleLE(0));
    case 'int':
      return String(bytes.readInt32LE(0));
    case 'rational':
      return `${bytes.readInt32LE(0)}/${bytes.readUInt32LE(4)}`;
    case 'string':
      return JSON.stringify(bytes.toString('utf8'));
    case 'stringvector':
      return JSON.stringify(textsIn(bytes));
    default:
      return bytes.toString('hex');
  }
}

/** Throws ExrDamage where the bytes are no value of their type; types that have no fixed size and no reader here pass. */
export function requireValue(attribute: Attribute): void {
  const { name, type, bytes } = attribute;
  const size = SIZES[type];
  if (isRead(type)) readAs(attribute, type);
  else if (size !== undefined && bytes.length !== size)
    throw new ExrDamage(`attribute ${name}: ${bytes.length} bytes of ${size}`);
}

/** Value of the attribute of that name; null without one. Throws ExrDamage when it is of another type. */
export function attributeValue<Type extends keyof Values>(
  attributes: ReadonlyMap<string, Attribute>,
  name: string,
  type: Type,
): Values[Type] | null {
  const attribute = attributes.get(name);
  if (attribute === undefined) return null;
  if (attribute.type !== type)
    throw new ExrDamage(`attribute ${name} is of type ${attribute.type}, not ${type}`);
  return readAs(attribute, type);
}
