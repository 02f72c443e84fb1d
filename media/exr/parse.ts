/** Reads the header of an OpenEXR file of one part with scan lines (OpenEXR file layout, openexr.com). */
import {
  type Box,
  type ExrAttribute,
  type ExrChannel,
  type ExrCompression,
  type ExrLineOrder,
  bytesOfPixelType,
  exrValue,
  holdToType,
} from './attribute.ts';
import { ExrDamage, ExrForeign } from './damage.ts';
import { EXR_MAGIC, EXR_VERSION, LONG_NAME, SHORT_NAME, exrFlags, linesOfCompression } from './header.ts';

export interface PlacedAttribute extends ExrAttribute {
  /** Where its value begins in the file. */
  readonly at: number;
}

export interface ExrHeader {
  /** The whole version field, with its flags. */
  readonly version: number;
  /** In the order of the file. */
  readonly attributes: ReadonlyMap<string, PlacedAttribute>;
  /** First byte behind the header: the offset table. */
  readonly end: number;
  readonly channels: readonly ExrChannel[];
  readonly compression: ExrCompression;
  readonly dataWindow: Box;
  readonly displayWindow: Box;
  readonly lineOrder: ExrLineOrder;
  /** Of the data window. */
  readonly width: number;
  readonly height: number;
  readonly linesPerChunk: number;
  readonly chunkCount: number;
  /** Bytes of one line's values, all channels. */
  readonly lineBytes: number;
}

const MOST_SIDE = 65_536;
/** Four channels of 32 bits at 16384 x 16384. */
const MOST_PICTURE_BYTES = 4 * 1024 ** 3;
const MOST_CHANNELS = 1024;

/** The header ends behind the bytes at hand: more of the file may help. */
export class ExrHeaderCut extends ExrDamage {}

/** Attributes from the version on, without a look at what they say. Throws ExrDamage. */
export function attributesOf(input: Uint8Array): {
  version: number;
  attributes: Map<string, PlacedAttribute>;
  end: number;
} {
  const bytes = Buffer.from(input.buffer, input.byteOffset, input.length);
  if (bytes.length >= 4 && bytes.readInt32LE(0) !== EXR_MAGIC) throw new ExrDamage('no OpenEXR magic number');
  const needed = (end: number): void => {
    if (end > bytes.length) throw new ExrHeaderCut('the header does not end inside the file');
  };
  needed(8);
  const version = bytes.readInt32LE(4);
  const longest = (version & exrFlags.longNames) === 0 ? SHORT_NAME : LONG_NAME;
  const attributes = new Map<string, PlacedAttribute>();
  let at = 8;
  const word = (what: string): string => {
    const end = bytes.indexOf(0, at);
    if ((end < 0 ? bytes.length : end) - at > longest)
      throw new ExrDamage(`the ${what} of an attribute at byte ${at} has more than ${longest} bytes`);
    if (end < 0) needed(bytes.length + 1);
    const text = bytes.toString('latin1', at, end);
    at = end + 1;
    return text;
  };
  for (;;) {
    const name = word('name');
    if (name === '') return { version, attributes, end: at };
    const type = word('type');
    needed(at + 4);
    const size = bytes.readInt32LE(at);
    if (type === '' || size < 0)
      throw new ExrDamage(`attribute ${name} of type ${JSON.stringify(type)} and ${size} bytes`);
    needed(at + 4 + size);
    if (attributes.has(name)) throw new ExrDamage(`attribute ${name} stands there twice`);
    attributes.set(name, { name, type, bytes: bytes.subarray(at + 4, at + 4 + size), at: at + 4 });
    at += 4 + size;
  }
}

function required<Value>(value: Value | null, name: string): Value {
  if (value === null) throw new ExrDamage(`no attribute ${name}`);
  return value;
}

function sides({ xMin, yMin, xMax, yMax }: Box, name: string): { width: number; height: number } {
  const [width, height] = [xMax - xMin + 1, yMax - yMin + 1];
  if (width < 1 || height < 1 || width > MOST_SIDE || height > MOST_SIDE)
    throw new ExrDamage(`${name} of ${width}x${height}`);
  return { width, height };
}

/** Throws ExrDamage, and ExrForeign for what is no single part of scan lines. */
export function readHeader(bytes: Uint8Array): ExrHeader {
  const { version, attributes, end } = attributesOf(bytes);
  if ((version & 0xff) !== EXR_VERSION) throw new ExrForeign(`version ${version & 0xff} of the format`);
  for (const [name, flag] of Object.entries({
    tiles: exrFlags.tiled,
    'deep samples': exrFlags.deep,
    'several parts': exrFlags.multipart,
  }))
    if ((version & flag) !== 0) throw new ExrForeign(name);
  const known = Object.values(exrFlags).reduce((all, flag) => all | flag, 0xff);
  if ((version & ~known) !== 0) throw new ExrDamage(`version field 0x${(version >>> 0).toString(16)}`);
  for (const attribute of attributes.values()) holdToType(attribute);
  const channels = required(exrValue(attributes, 'channels', 'chlist'), 'channels');
  const compression = required(exrValue(attributes, 'compression', 'compression'), 'compression');
  const dataWindow = required(exrValue(attributes, 'dataWindow', 'box2i'), 'dataWindow');
  const displayWindow = required(exrValue(attributes, 'displayWindow', 'box2i'), 'displayWindow');
  const lineOrder = required(exrValue(attributes, 'lineOrder', 'lineOrder'), 'lineOrder');
  required(exrValue(attributes, 'pixelAspectRatio', 'float'), 'pixelAspectRatio');
  required(exrValue(attributes, 'screenWindowCenter', 'v2f'), 'screenWindowCenter');
  required(exrValue(attributes, 'screenWindowWidth', 'float'), 'screenWindowWidth');
  sides(displayWindow, 'displayWindow');
  const { width, height } = sides(dataWindow, 'dataWindow');
  if (channels.length === 0 || channels.length > MOST_CHANNELS)
    throw new ExrDamage(`${channels.length} channels`);
  if (channels.some(({ name }, index) => index > 0 && name <= (channels[index - 1]?.name ?? '')))
    throw new ExrDamage('channels out of order');
  const subsampled = channels.find(({ xSampling, ySampling }) => xSampling !== 1 || ySampling !== 1);
  if (subsampled !== undefined)
    throw new ExrForeign(
      `channel ${subsampled.name} sampled ${subsampled.xSampling}x${subsampled.ySampling}`,
    );
  const linesPerChunk = linesOfCompression[compression];
  const lineBytes = channels.reduce((sum, { pixelType }) => sum + width * bytesOfPixelType[pixelType], 0);
  if (height * lineBytes > MOST_PICTURE_BYTES)
    throw new ExrDamage(
      `a picture of ${width}x${height} in ${channels.length} channels, ${height * lineBytes} bytes`,
    );
  return {
    version,
    attributes,
    end,
    channels,
    compression,
    dataWindow,
    displayWindow,
    lineOrder,
    width,
    height,
    linesPerChunk,
    chunkCount: Math.ceil(height / linesPerChunk),
    lineBytes,
  };
}
