/** A small OpenEXR frame of one's own wishes, uncompressed (OpenEXR file layout, openexr.com). */
import {
  type Box,
  bytesOfPixelType,
  type Chromaticities,
  type ExrAttribute,
  type ExrPixelType,
  exrAttribute,
} from '../../media/formats/exr/attribute.ts';
import { headerLayout } from '../../media/formats/exr/header.ts';

export interface TestChannel {
  readonly name: string;
  readonly kind?: ExrPixelType;
  readonly sampling?: number;
}

export interface ExrOptions {
  readonly width?: number;
  readonly height?: number;
  /** In any order; the file has them by name. */
  readonly channels?: readonly TestChannel[];
  readonly display?: Box;
  readonly chromaticities?: Chromaticities;
  /** Set in the version field. */
  readonly flags?: number;
  /** Bits of a half, of a float, or a whole number. */
  readonly bitsAt?: (channel: string, x: number, y: number) => number;
}

const RGB = [{ name: 'R' }, { name: 'G' }, { name: 'B' }];

export function exrFrame({
  width = 8,
  height = 6,
  channels = RGB,
  display,
  chromaticities,
  flags = 0,
  bitsAt = () => 0,
}: ExrOptions = {}): Buffer {
  const window = { xMin: 0, yMin: 0, xMax: width - 1, yMax: height - 1 };
  const sorted = channels.toSorted((a, b) => (a.name < b.name ? -1 : 1));
  const attributes: ExrAttribute[] = [
    exrAttribute(
      'channels',
      'chlist',
      sorted.map(({ name, kind = 'half', sampling = 1 }) => ({
        name,
        pixelType: kind,
        linear: false,
        xSampling: sampling,
        ySampling: sampling,
      })),
    ),
    ...(chromaticities === undefined
      ? []
      : [exrAttribute('chromaticities', 'chromaticities', chromaticities)]),
    exrAttribute('compression', 'compression', 'none'),
    exrAttribute('dataWindow', 'box2i', window),
    exrAttribute('displayWindow', 'box2i', display ?? window),
    exrAttribute('lineOrder', 'lineOrder', 'increasing-y'),
    exrAttribute('pixelAspectRatio', 'float', 1),
    exrAttribute('screenWindowCenter', 'v2f', [0, 0]),
    exrAttribute('screenWindowWidth', 'float', 1),
  ];
  const head = headerLayout(attributes).bytes;
  head.writeInt32LE(head.readInt32LE(4) | flags, 4);
  const table = Buffer.alloc(8 * height);
  const chunks: Buffer[] = [];
  let at = head.length + table.length;
  for (let y = 0; y < height; y += 1) {
    const lines = sorted
      .filter(({ sampling = 1 }) => y % sampling === 0)
      .map(({ name, kind = 'half', sampling = 1 }) => {
        const size = bytesOfPixelType[kind];
        const line = Buffer.alloc(size * Math.ceil(width / sampling));
        for (let x = 0; x * size < line.length; x += 1)
          if (size === 2) line.writeUInt16LE(bitsAt(name, x, y), 2 * x);
          else line.writeUInt32LE(bitsAt(name, x, y) >>> 0, 4 * x);
        return line;
      });
    const data = Buffer.concat(lines);
    const start = Buffer.alloc(8);
    start.writeInt32LE(y, 0);
    start.writeInt32LE(data.length, 4);
    table.writeBigUInt64LE(BigInt(at), 8 * y);
    chunks.push(start, data);
    at += 8 + data.length;
  }
  return Buffer.concat([head, table, ...chunks]);
}
