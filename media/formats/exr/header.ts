/** The header of a scan-line file of one part, as bytes (OpenEXR file layout, openexr.com). */
import { type ExrAttribute, type ExrCompression, exrAttribute } from './attribute.ts';

export const EXR_MAGIC = 20_000_630;
export const EXR_VERSION = 2;
/** Flags beside the version. */
export const exrFlags = { tiled: 0x200, longNames: 0x400, deep: 0x800, multipart: 0x1000 } as const;
export const SHORT_NAME = 31;
export const LONG_NAME = 255;

/** Scan lines of one chunk. */
export const linesOfCompression: Readonly<Record<ExrCompression, number>> = {
  none: 1,
  rle: 1,
  zips: 1,
  zip: 16,
  piz: 32,
  pxr24: 16,
  b44: 32,
  b44a: 32,
  dwaa: 32,
  dwab: 256,
};
/** Entry of the offset table, and what stands before the data of a chunk. */
export const OFFSET_BYTES = 8;
export const CHUNK_HEAD_BYTES = 8;

/** A picture of half values R, G, B whose data fill the display window from (0, 0). */
export interface ExrForm {
  readonly width: number;
  readonly height: number;
  readonly compression: 'none' | 'zip' | 'zips' | 'piz' | 'dwaa' | 'dwab';
  /** How much DWA loses (dwaCompressionLevel); of nothing else. Absent: 45, as OpenEXR has it. */
  readonly level?: number | null | undefined;
}

/** Of ImfDwaCompressor.cpp. */
export const USUAL_LEVEL = 45;
export const isDwa = (compression: ExrCompression): boolean =>
  compression === 'dwaa' || compression === 'dwab';

export const chunkCount = ({ height, compression }: ExrForm): number =>
  Math.ceil(height / linesOfCompression[compression]);

/** What the format asks for, by the form; chromaticities and pixelAspectRatio come with the frame. */
export function formAttributes({ width, height, compression, level }: ExrForm): ExrAttribute[] {
  const window = { xMin: 0, yMin: 0, xMax: width - 1, yMax: height - 1 };
  const channels = ['B', 'G', 'R'].map((name) => ({
    name,
    pixelType: 'half' as const,
    linear: false,
    xSampling: 1,
    ySampling: 1,
  }));
  return [
    exrAttribute('channels', 'chlist', channels),
    exrAttribute('compression', 'compression', compression),
    exrAttribute('dataWindow', 'box2i', window),
    ...(isDwa(compression) ? [exrAttribute('dwaCompressionLevel', 'float', level ?? USUAL_LEVEL)] : []),
    exrAttribute('displayWindow', 'box2i', window),
    exrAttribute('lineOrder', 'lineOrder', 'increasing-y'),
    exrAttribute('screenWindowCenter', 'v2f', [0, 0]),
    exrAttribute('screenWindowWidth', 'float', 1),
  ];
}

const byName = (a: ExrAttribute, b: ExrAttribute): number => (a.name < b.name ? -1 : a.name > b.name ? 1 : 0);

/** From the magic number to the end of the header, and where in it the value of each attribute begins. */
export interface HeaderLayout {
  readonly bytes: Buffer;
  readonly places: ReadonlyMap<string, number>;
}

/** Attributes by name. Throws RangeError for names that the format does not take. */
export function headerLayout(attributes: readonly ExrAttribute[]): HeaderLayout {
  const sorted = attributes.toSorted(byName);
  sorted.forEach(({ name, type }, index) => {
    for (const word of [name, type])
      if (!/^[\x21-\x7e]+$/.test(word) || word.length > LONG_NAME)
        throw new RangeError(`no name of an attribute: ${JSON.stringify(word)}`);
    if (sorted[index + 1]?.name === name) throw new RangeError(`two attributes ${name}`);
  });
  const long = sorted.some(({ name, type }) => name.length > SHORT_NAME || type.length > SHORT_NAME);
  const head = Buffer.alloc(8);
  head.writeInt32LE(EXR_MAGIC, 0);
  head.writeInt32LE(EXR_VERSION | (long ? exrFlags.longNames : 0), 4);
  const places = new Map<string, number>();
  let at = head.length;
  const parts = sorted.flatMap(({ name, type, bytes }) => {
    const size = Buffer.alloc(4);
    size.writeInt32LE(bytes.length);
    const words = Buffer.from(`${name}\0${type}\0`, 'latin1');
    places.set(name, at + words.length + size.length);
    at += words.length + size.length + bytes.length;
    return [words, size, bytes];
  });
  return { bytes: Buffer.concat([head, ...parts, Buffer.of(0)]), places };
}

/** Whole size of a file of half R, G, B without compression, behind a header of so many bytes. */
export function uncompressedBytes(width: number, height: number, header: number): number {
  return header + height * (OFFSET_BYTES + CHUNK_HEAD_BYTES) + 6 * width * height;
}
