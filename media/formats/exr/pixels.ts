/**
 * Our own reading of an OpenEXR picture: its values, placed by data window and display window ("OpenEXR File Layout" and "Technical
 * Introduction", openexr.com). One part, scan lines, half or float, without compression or in RLE, ZIPS, ZIP; ffmpeg decodes the rest.
 * Every size that the file claims is held against what the picture needs and what the file has. Pixels of the display window that lie
 * outside of the data window are 0.
 */
import { inflateSync } from 'node:zlib';
import { StillDamage } from '../still.ts';
import { type Box, bytesOfPixelType, type ExrChannel, type ExrCompression, exrValue } from './attribute.ts';
import { CHUNK_HEAD_BYTES, exrFlags, linesOfCompression, OFFSET_BYTES } from './header.ts';
import { exrAttributesOf } from './reader.ts';
import { isUnpackedHere } from './unpacked.ts';

/** A picture in the display window: planes of 32-bit floats, one channel behind the other. */
export interface PlacedPicture {
  readonly width: number;
  readonly height: number;
  /** In the order of the planes. */
  readonly channels: readonly string[];
}

/** Planes of the picture in their order, by ffmpeg's name for it. */
export function pictureChannels(pixelFormat: string): readonly string[] {
  if (pixelFormat === 'gbrpf32le') return ['G', 'B', 'R'];
  if (pixelFormat === 'grayf32le') return ['Y'];
  throw new RangeError(`pixel format ${pixelFormat}`);
}

/** By the bits of a half (IEEE 754 binary16). */
let halves: Float32Array | null = null;
function valuesOfHalves(): Float32Array {
  if (halves !== null) return halves;
  const table = new Float32Array(65_536);
  for (let bits = 0; bits < table.length; bits += 1) {
    const exponent = (bits >> 10) & 31;
    const fraction = bits & 1023;
    const size =
      exponent === 0
        ? fraction * 2 ** -24
        : exponent === 31
          ? fraction === 0
            ? Number.POSITIVE_INFINITY
            : Number.NaN
          : (1024 + fraction) * 2 ** (exponent - 25);
    table[bits] = bits & 0x8000 ? -size : size;
  }
  halves = table;
  return table;
}

/** Wider or higher is no picture. */
const MOST_SIDE = 65_536;
/** Bytes that one packed byte can become: two of RLE become 128 (OpenEXR, ImfRle.cpp), one of deflate 1032 (zlib, "Technical Details"). */
const MOST_OF_A_BYTE: Readonly<Partial<Record<ExrCompression, number>>> = { rle: 64, zips: 1032, zip: 1032 };

interface Plan {
  readonly data: Box;
  readonly display: Box;
  readonly compression: ExrCompression;
  /** Bytes of a line's values, and where in them each plane's channel lies. */
  readonly lineBytes: number;
  readonly places: readonly { readonly at: number; readonly half: boolean }[];
  readonly lines: number;
  readonly chunks: number;
  /** Of the offset table. */
  readonly table: number;
}

function channelPlaces(
  channels: readonly ExrChannel[],
  names: readonly string[],
  width: number,
): { lineBytes: number; places: { at: number; half: boolean }[] } {
  let lineBytes = 0;
  const found = new Map<string, { at: number; pixelType: ExrChannel['pixelType'] }>();
  for (const { name, pixelType, xSampling, ySampling } of channels) {
    if (xSampling !== 1 || ySampling !== 1)
      throw new StillDamage(`channel ${name} has a sample for every ${xSampling}x${ySampling} pixels`);
    found.set(name, { at: lineBytes, pixelType });
    lineBytes += width * bytesOfPixelType[pixelType];
  }
  const places = names.map((name) => {
    const place = found.get(name);
    if (place === undefined) throw new StillDamage(`no channel ${name}`);
    if (place.pixelType === 'uint') throw new StillDamage(`channel ${name} is of whole numbers`);
    return { at: place.at, half: place.pixelType === 'half' };
  });
  return { lineBytes, places };
}

function planOf(file: Buffer, { width, height, channels: names }: PlacedPicture): Plan {
  const { attributes, end } = exrAttributesOf(file);
  if ((file.readInt32LE(4) & (exrFlags.tiled | exrFlags.deep | exrFlags.multipart)) !== 0)
    throw new StillDamage('a picture that is not in scan lines of one part');
  const [data, display] = [
    exrValue(attributes, 'dataWindow', 'box2i'),
    exrValue(attributes, 'displayWindow', 'box2i'),
  ];
  const compression = exrValue(attributes, 'compression', 'compression');
  const channels = exrValue(attributes, 'channels', 'chlist');
  if (data === null || display === null || compression === null || channels === null)
    throw new StillDamage('a header without windows, channels or compression');
  if (!isUnpackedHere(compression)) throw new StillDamage(`${compression.toUpperCase()} compression`);
  const size = [display.xMax - display.xMin + 1, display.yMax - display.yMin + 1];
  if (size[0] !== width || size[1] !== height)
    throw new StillDamage(`a display window of ${size[0]}x${size[1]}, not ${width}x${height}`);
  const [across, down] = [data.xMax - data.xMin + 1, data.yMax - data.yMin + 1];
  if (across < 1 || down < 1 || across > MOST_SIDE || down > MOST_SIDE)
    throw new StillDamage(`a data window of ${across}x${down}`);
  const lines = linesOfCompression[compression];
  const chunks = Math.ceil(down / lines);
  if (end + chunks * OFFSET_BYTES > file.length) throw new StillDamage('the table of chunks is cut off');
  return {
    data,
    display,
    compression,
    ...channelPlaces(channels, names, across),
    lines,
    chunks,
    table: end,
  };
}

function runs(packed: Uint8Array, size: number): Uint8Array {
  const bytes = new Uint8Array(size);
  let at = 0;
  let from = 0;
  while (from < packed.length) {
    const count = (((packed[from] as number) << 24) >> 24) + 1;
    from += 1;
    // As they are, or one byte so many times.
    const length = count <= 0 ? 1 - count : count;
    const taken = count <= 0 ? length : 1;
    if (at + length > size || from + taken > packed.length)
      throw new StillDamage('runs that do not end with their chunk');
    if (count <= 0) bytes.set(packed.subarray(from, from + length), at);
    else bytes.fill(packed[from] as number, at, at + length);
    from += taken;
    at += length;
  }
  if (at !== size) throw new StillDamage(`a chunk of ${at} bytes, not ${size}`);
  return bytes;
}

function inflated(packed: Uint8Array, size: number): Uint8Array {
  try {
    const bytes = inflateSync(packed, { maxOutputLength: size });
    if (bytes.length === size) return bytes;
    throw new StillDamage(`a chunk of ${bytes.length} bytes, not ${size}`);
  } catch (error) {
    if (error instanceof StillDamage) throw error;
    throw new StillDamage(`a chunk that does not unpack: ${(error as Error).message}`);
  }
}

/** Bytes are stored as differences, those of even places before those of odd ones. */
function restored(stored: Uint8Array, to: Uint8Array): void {
  const odd = (stored.length + 1) >> 1;
  let sum = stored[0] as number;
  to[0] = sum;
  for (let index = 1; index < odd; index += 1) {
    sum = (sum + (stored[index] as number) - 128) & 255;
    to[2 * index] = sum;
  }
  for (let index = odd; index < stored.length; index += 1) {
    sum = (sum + (stored[index] as number) - 128) & 255;
    to[2 * (index - odd) + 1] = sum;
  }
}

/** Values of a chunk's lines, in memory that a 16-bit and a 32-bit view may lie over. */
function unpack(stored: Uint8Array, compression: ExrCompression, size: number): Uint8Array {
  const packed = stored.length;
  const bytes = new Uint8Array(size);
  // What does not become shorter is stored as it is.
  if (packed === size) bytes.set(stored);
  else if (compression === 'none') throw new StillDamage(`a chunk of ${packed} bytes, not ${size}`);
  else restored(compression === 'rle' ? runs(stored, size) : inflated(stored, size), bytes);
  return bytes;
}

/** Where a line of the data window lies in the display window, and which of its pixels do. */
interface Cut {
  readonly first: number;
  readonly count: number;
  /** In the plane. */
  readonly to: number;
}

function copyLine(
  raw: Uint8Array,
  { at, half }: { readonly at: number; readonly half: boolean },
  { first, count, to }: Cut,
  plane: Float32Array,
): void {
  if (half) {
    const values = valuesOfHalves();
    for (let x = 0, byte = at + 2 * first; x < count; x += 1, byte += 2)
      plane[to + x] = values[(raw[byte] as number) | ((raw[byte + 1] as number) << 8)] as number;
  } else {
    const view = new DataView(raw.buffer, raw.byteOffset + at + 4 * first, 4 * count);
    for (let x = 0; x < count; x += 1) plane[to + x] = view.getFloat32(4 * x, true);
  }
}

/**
 * The picture of a whole file into `to`, whose planes lie one behind the other. Throws StillDamage for what is damaged, of another size
 * or without a channel that is wanted.
 */
export function readPlaced(file: Buffer, picture: PlacedPicture, to: Float32Array): void {
  const plan = planOf(file, picture);
  const { data, display, compression, lines, chunks, lineBytes, places, table } = plan;
  const { width, height } = picture;
  const pixels = width * height;
  if (to.length !== pixels * places.length)
    throw new RangeError(`${to.length} values for ${places.length} planes`);
  const [left, right] = [Math.max(data.xMin, display.xMin), Math.min(data.xMax, display.xMax)];
  const covers = left === display.xMin && right === display.xMax;
  if (!covers || data.yMin > display.yMin || data.yMax < display.yMax) to.fill(0);
  for (let chunk = 0; chunk < chunks; chunk += 1) {
    const y = data.yMin + chunk * lines;
    const count = Math.min(lines, data.yMax - y + 1);
    const offset = file.readBigUInt64LE(table + chunk * OFFSET_BYTES);
    const where = `chunk ${chunk + 1} of ${chunks}`;
    if (offset < BigInt(table) || offset > BigInt(file.length - CHUNK_HEAD_BYTES))
      throw new StillDamage(`${where} lies at byte ${offset} of ${file.length}`);
    const at = Number(offset);
    const packed = file.readInt32LE(at + 4);
    const size = count * lineBytes;
    if (file.readInt32LE(at) !== y)
      throw new StillDamage(`${where} is of line ${file.readInt32LE(at)}, not ${y}`);
    if (packed < 1 || packed > size || at + CHUNK_HEAD_BYTES + packed > file.length)
      throw new StillDamage(
        `${where} has ${packed} bytes, of ${size} and ${file.length - at - CHUNK_HEAD_BYTES} in the file`,
      );
    const most = MOST_OF_A_BYTE[compression];
    if (most !== undefined && packed !== size && size > most * packed)
      throw new StillDamage(`${where} has ${packed} bytes, which cannot be ${size}`);
    if (left > right || y + count <= display.yMin || y > display.yMax) continue;
    const raw = unpack(
      file.subarray(at + CHUNK_HEAD_BYTES, at + CHUNK_HEAD_BYTES + packed),
      compression,
      size,
    );
    for (let line = 0; line < count; line += 1) {
      const shown = y + line - display.yMin;
      if (shown < 0 || shown >= height) continue;
      const cut = { first: left - data.xMin, count: right - left + 1 };
      for (const [plane, { at: place, half }] of places.entries())
        copyLine(
          raw,
          { at: line * lineBytes + place, half },
          { ...cut, to: plane * pixels + shown * width + left - display.xMin },
          to,
        );
    }
  }
}
