/**
 * OpenEXR headers (OpenEXR file layout, openexr.com; single part, scan lines or tiles): windows, pixel types, rate,
 * timecode, and whether every scan-line chunk lies inside the file. A cut-off file decodes without a word elsewhere.
 */
import type { FileHandle } from 'node:fs/promises';
import { readAt } from '../../../files/bytes.ts';
import { type Rate, ratio } from '../../time/rate.ts';
import { type ExrStorage, StillDamage, type StillHeader, storedTimecode } from '../still.ts';
import { type ExrAttribute, exrCompressions } from './attribute.ts';
import { EXR_MAGIC, exrFlags, linesOfCompression } from './header.ts';
import { exrStorage } from './source.ts';
import { statedInExr } from './stated.ts';
import type { StatedFrame } from '../stated.ts';

/** Wider or higher is no picture, and would ask for memory that nobody has. */
const MOST_SIDE = 65_536;
const MOST_HEADER_BYTES = 16 * 1024 * 1024;
/** No pixel is more times as wide as it is high, or as high as wide: beyond that the header says nothing of it. */
const MOST_ASPECT = 10_000;

type Attribute = ExrAttribute & { readonly bytes: Buffer };

/** Null when the buffer ends before the header does. */
function attributesOf(bytes: Buffer): { attributes: Map<string, Attribute>; end: number } | null {
  const attributes = new Map<string, Attribute>();
  let offset = 8;
  const text = (): string | null => {
    const end = bytes.indexOf(0, offset);
    if (end < 0) return null;
    if (end - offset > 255) throw new StillDamage('an attribute name of more than 255 bytes');
    const value = bytes.toString('latin1', offset, end);
    offset = end + 1;
    return value;
  };
  for (;;) {
    const name = text();
    if (name === null) return null;
    if (name === '') return { attributes, end: offset };
    const type = text();
    if (type === null || offset + 4 > bytes.length) return null;
    const size = bytes.readInt32LE(offset);
    if (size < 0) throw new StillDamage(`attribute ${name} of ${size} bytes`);
    if (offset + 4 + size > bytes.length) return null;
    attributes.set(name, { name, type, bytes: bytes.subarray(offset + 4, offset + 4 + size) });
    offset += 4 + size;
  }
}

/** Of a whole file in memory. Throws StillDamage. */
export function exrAttributesOf(file: Buffer): {
  readonly attributes: ReadonlyMap<string, ExrAttribute>;
  readonly end: number;
} {
  if (file.length < 8 || file.readInt32LE(0) !== EXR_MAGIC) throw new StillDamage('no OpenEXR magic number');
  const header = attributesOf(file);
  if (header === null) throw new StillDamage('the header does not end inside the file');
  return header;
}

async function readAttributes(
  handle: FileHandle,
  fileBytes: number,
): Promise<{ attributes: Map<string, Attribute>; end: number; version: number }> {
  for (let length = 16_384; ; length *= 16) {
    const bytes = await readAt(handle, 0, Math.min(length, MOST_HEADER_BYTES));
    if (bytes.length < 8 || bytes.readInt32LE(0) !== EXR_MAGIC)
      throw new StillDamage('no OpenEXR magic number');
    const header = attributesOf(bytes);
    if (header !== null) return { ...header, version: bytes.readInt32LE(4) };
    if (bytes.length === fileBytes || length >= MOST_HEADER_BYTES)
      throw new StillDamage('the header does not end inside the file');
  }
}

interface Window {
  readonly width: number;
  readonly height: number;
}

function windowOf(attribute: Attribute | undefined, name: string): Window {
  if (attribute?.bytes.length !== 16) throw new StillDamage(`no ${name}`);
  const [xMin, yMin, xMax, yMax] = [0, 4, 8, 12].map((at) => attribute.bytes.readInt32LE(at)) as [
    number,
    number,
    number,
    number,
  ];
  if (xMax < xMin || yMax < yMin) throw new StillDamage(`${name} is empty`);
  const [width, height] = [xMax - xMin + 1, yMax - yMin + 1];
  if (width > MOST_SIDE || height > MOST_SIDE) throw new StillDamage(`${name} of ${width}x${height}`);
  return { width, height };
}

function layoutOf(version: number): ExrStorage['layout'] {
  if ((version & exrFlags.deep) !== 0) return 'deep';
  if ((version & exrFlags.multipart) !== 0) return 'parts';
  return (version & exrFlags.tiled) !== 0 ? 'tiles' : 'scan-lines';
}

/** End of the furthest chunk; throws when the table of offsets is incomplete. */
async function chunksEnd(
  handle: FileHandle,
  table: number,
  chunks: number,
  fileBytes: number,
): Promise<number> {
  // The header claims how many there are: held against the file before anything is read.
  if (table + chunks * 8 > fileBytes)
    throw new StillDamage(
      `the table of chunks is cut off: ${chunks} chunks by the data window, room for ${Math.floor((fileBytes - table) / 8)} in the file`,
    );
  const offsets = await readAt(handle, table, chunks * 8);
  if (offsets.length < chunks * 8) throw new StillDamage('the table of chunks is cut off');
  let furthest = 0n;
  for (let index = 0; index < chunks; index += 1) {
    const offset = offsets.readBigUInt64LE(index * 8);
    // An interrupted writer leaves zeros.
    if (offset < BigInt(table + chunks * 8))
      throw new StillDamage(`chunk ${index + 1} of ${chunks} was never written`);
    if (offset + 8n > BigInt(fileBytes))
      throw new StillDamage(`chunk ${index + 1} of ${chunks} lies at byte ${offset} of ${fileBytes}`);
    if (offset > furthest) furthest = offset;
  }
  const head = await readAt(handle, Number(furthest), 8);
  return head.length < 8 ? Number(furthest) + 8 : Number(furthest) + 8 + head.readInt32LE(4);
}

function rateOf(attribute: Attribute | undefined): Rate | null {
  if (attribute?.type !== 'rational' || attribute.bytes.length !== 8) return null;
  const num = attribute.bytes.readInt32LE(0);
  const den = attribute.bytes.readUInt32LE(4);
  return num > 0 && den > 0 ? ratio(num, den) : null;
}

export async function readExr(
  handle: FileHandle,
  fileBytes: number,
): Promise<{ readonly header: StillHeader; readonly stated: StatedFrame }> {
  const { attributes, end, version } = await readAttributes(handle, fileBytes);
  const display = windowOf(attributes.get('displayWindow'), 'displayWindow');
  const data = windowOf(attributes.get('dataWindow'), 'dataWindow');
  const layout = layoutOf(version);
  const exr = exrStorage(attributes, layout);
  const compression = exrCompressions[attributes.get('compression')?.bytes[0] ?? -1];
  const lines = compression === undefined ? undefined : linesOfCompression[compression];
  const simple = layout === 'scan-lines' && lines !== undefined;
  const neededBytes = simple ? await chunksEnd(handle, end, Math.ceil(data.height / lines), fileBytes) : null;
  const time = attributes.get('timeCode');
  const word = time?.bytes.length === 8 ? time.bytes.readUInt32LE(0) : null;
  const reel = attributes.get('reelName');
  const aspect = attributes.get('pixelAspectRatio');
  const aspectValue = aspect?.bytes.length === 4 ? aspect.bytes.readFloatLE(0) : 1;
  const header: StillHeader = {
    format: 'exr',
    kind: exr.wholeNumbers ? 'encoded' : 'scene-linear',
    width: display.width,
    height: display.height,
    // Stored as 32-bit float: four places are what it was meant as.
    pixelAspect:
      aspectValue > 1 / MOST_ASPECT && aspectValue < MOST_ASPECT
        ? ratio(Math.round(aspectValue * 10_000), 10_000)
        : null,
    rate: rateOf(attributes.get('framesPerSecond')),
    timecode:
      word === null
        ? null
        : storedTimecode(word >>> 24, (word >>> 16) & 0xff, (word >>> 8) & 0xff, word & 0xff),
    reel: reel === undefined ? null : reel.bytes.toString('utf8'),
    neededBytes,
    exr,
  };
  return { header, stated: statedInExr(attributes) };
}
