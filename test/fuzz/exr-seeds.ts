/** OpenEXR files of every compression that a reader here takes, written for the fuzz by hand, with windows or without: run lengths of one line, deflate of one or sixteen (OpenEXR file layout, openexr.com). */
import { deflateSync } from 'node:zlib';
import { AP0 } from '../../media/formats/exr/aces-rules.ts';
import { type Box, exrAttribute } from '../../media/formats/exr/attribute.ts';
import { headerLayout } from '../../media/formats/exr/header.ts';

const [WIDTH, HEIGHT] = [6, 5];

const lines = { none: 1, rle: 1, zips: 1, zip: 16 } as const;

export interface ExrSeed {
  readonly compression: keyof typeof lines;
  readonly pixelType: 'half' | 'float' | 'uint';
  /** Absent: from (0, 0), 6x5. */
  readonly data?: Box;
  /** Absent: that of the data. */
  readonly display?: Box;
  /** In the order of the alphabet; absent: B, G, R. */
  readonly channels?: readonly string[];
}

/** Bytes of equal weight together, then differences to the byte before. */
function predicted(raw: Buffer): Buffer {
  const half = Buffer.alloc(raw.length);
  const middle = Math.ceil(raw.length / 2);
  for (let at = 0; at < raw.length; at += 1) half[(at & 1) * middle + (at >> 1)] = raw[at] as number;
  const out = Buffer.from(half);
  for (let at = 1; at < half.length; at += 1)
    out[at] = ((half[at] as number) - (half[at - 1] as number) + 128 + 256) & 0xff;
  return out;
}

/** Runs of one byte, a count below zero first for bytes as they stand. */
function asRuns(bytes: Buffer): Buffer {
  const parts: Buffer[] = [];
  for (let at = 0; at < bytes.length; ) {
    let end = at + 1;
    while (end < bytes.length && bytes[end] === bytes[at] && end - at < 128) end += 1;
    if (end - at > 2) parts.push(Buffer.of(end - at - 1, bytes[at] as number));
    else {
      end = Math.min(bytes.length, at + 4);
      parts.push(Buffer.of(256 - (end - at)), bytes.subarray(at, end));
    }
    at = end;
  }
  return Buffer.concat(parts);
}

export function exrSeed({
  compression,
  pixelType,
  data = { xMin: 0, yMin: 0, xMax: WIDTH - 1, yMax: HEIGHT - 1 },
  display = data,
  channels = ['B', 'G', 'R'],
}: ExrSeed): Buffer {
  const [width, height] = [data.xMax - data.xMin + 1, data.yMax - data.yMin + 1];
  const head = headerLayout([
    exrAttribute(
      'channels',
      'chlist',
      channels.map((name) => ({ name, pixelType, linear: false, xSampling: 1, ySampling: 1 })),
    ),
    exrAttribute('chromaticities', 'chromaticities', AP0),
    exrAttribute('compression', 'compression', compression),
    exrAttribute('dataWindow', 'box2i', data),
    exrAttribute('displayWindow', 'box2i', display),
    exrAttribute('framesPerSecond', 'rational', { num: 24000, den: 1001 }),
    exrAttribute('lineOrder', 'lineOrder', 'increasing-y'),
    exrAttribute('pixelAspectRatio', 'float', 1),
    exrAttribute('reelName', 'string', 'A001'),
    exrAttribute('screenWindowCenter', 'v2f', [0, 0]),
    exrAttribute('screenWindowWidth', 'float', 1),
    exrAttribute('timeCode', 'timecode', { timeAndFlags: 0x01020304, userData: 0 }),
  ]).bytes;
  const step = lines[compression];
  const table = Buffer.alloc(8 * Math.ceil(height / step));
  const chunks: Buffer[] = [];
  let at = head.length + table.length;
  for (let line = 0; line < height; line += step) {
    const raw = Buffer.alloc(
      Math.min(step, height - line) * channels.length * width * (pixelType === 'half' ? 2 : 4),
    );
    for (let byte = 0; byte < raw.length; byte += 1) raw[byte] = line < 2 ? 0 : (byte * 7 + line) & 0x3f;
    const packed =
      compression === 'none'
        ? raw
        : compression === 'rle'
          ? asRuns(predicted(raw))
          : deflateSync(predicted(raw));
    const stored = packed.length < raw.length ? packed : raw;
    const start = Buffer.alloc(8);
    start.writeInt32LE(data.yMin + line, 0);
    start.writeInt32LE(stored.length, 4);
    table.writeBigUInt64LE(BigInt(at), (8 * line) / step);
    chunks.push(start, stored);
    at += 8 + stored.length;
  }
  return Buffer.concat([head, table, ...chunks]);
}
