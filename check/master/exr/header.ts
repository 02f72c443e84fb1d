/** Reads the header of an OpenEXR file of one part with scan lines (OpenEXR file layout, openexr.com). */
import {
  type Attribute,
  type Channel,
  requireValue,
  type Values,
  attributeValue,
  type Window,
} from './attributes.ts';
import { ExrDamage, ExrForeign } from './damage.ts';
import {
  alwaysThere,
  type Compression,
  compressions,
  LONG_NAMES,
  type LineOrder,
  longestName,
  MAGIC,
  otherForms,
  VERSION,
} from './standard.ts';

export interface ExrHeader {
  /** The whole version field, with its flags. */
  readonly version: number;
  /** In the order of the file. */
  readonly attributes: ReadonlyMap<string, Attribute>;
  /** First byte behind the header: the offset table. */
  readonly end: number;
  readonly channels: readonly Channel[];
  readonly compression: Compression;
  readonly dataWindow: Window;
  readonly displayWindow: Window;
  readonly lineOrder: LineOrder;
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

/**
 * Attributes from the version on, without a look at what they say. `fileBytes`: of the whole file, of which `input` is the beginning:
 * what a header claims beyond it is damage at once. Throws ExrDamage.
 */
export function attributesOf(
  input: Uint8Array,
  fileBytes = input.length,
): {
  version: number;
  attributes: Map<string, Attribute>;
  end: number;
} {
  const bytes = Buffer.from(input.buffer, input.byteOffset, input.length);
  if (bytes.length >= 4 && MAGIC.some((byte, index) => bytes[index] !== byte))
    throw new ExrDamage('no OpenEXR magic number');
  const needed = (end: number): void => {
    if (end > fileBytes) throw new ExrDamage('the header does not end inside the file');
    if (end > bytes.length) throw new ExrHeaderCut(`the header does not end inside ${bytes.length} bytes`);
  };
  needed(8);
  const version = bytes.readInt32LE(4);
  const longest = longestName(version);
  const attributes = new Map<string, Attribute>();
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

function sides({ xMin, yMin, xMax, yMax }: Window, name: string): { width: number; height: number } {
  const [width, height] = [xMax - xMin + 1, yMax - yMin + 1];
  if (width < 1 || height < 1 || width > MOST_SIDE || height > MOST_SIDE)
    throw new ExrDamage(`${name} of ${width}x${height}`);
  return { width, height };
}

/** `fileBytes` as for attributesOf. Throws ExrDamage, and ExrForeign for what is no single part of scan lines. */
export function readHeader(bytes: Uint8Array, fileBytes = bytes.length): ExrHeader {
  const { version, attributes, end } = attributesOf(bytes, fileBytes);
  if ((version & 0xff) !== VERSION) throw new ExrForeign(`version ${version & 0xff} of the format`);
  for (const { bit, words } of otherForms) if ((version & bit) !== 0) throw new ExrForeign(words);
  if ((version & ~(0xff | LONG_NAMES)) !== 0)
    throw new ExrDamage(`version field 0x${(version >>> 0).toString(16)}`);
  for (const attribute of attributes.values()) requireValue(attribute);
  const value = <Name extends keyof typeof alwaysThere>(name: Name): Values[(typeof alwaysThere)[Name]] => {
    const found = attributeValue(attributes, name, alwaysThere[name]);
    if (found === null) throw new ExrDamage(`no attribute ${name}`);
    return found;
  };
  const [channels, compression] = [value('channels'), value('compression')];
  const [dataWindow, displayWindow] = [value('dataWindow'), value('displayWindow')];
  const lineOrder = value('lineOrder');
  for (const name of ['pixelAspectRatio', 'screenWindowCenter', 'screenWindowWidth'] as const) value(name);
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
  const lineBytes = channels.reduce((sum, channel) => sum + width * channel.bytes, 0);
  if (height * lineBytes > MOST_PICTURE_BYTES)
    throw new ExrDamage(
      `a picture of ${width}x${height} in ${channels.length} channels, ${height * lineBytes} bytes`,
    );
  const linesPerChunk = compressions.find(({ name }) => name === compression)?.lines ?? 1;
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
