/**
 * Pixels of a source's picture, where its header places them: the checker's own reading, which shares nothing with what made a master of
 * it. "The display window" and "The data window" (OpenEXR, Technical Introduction, openexr.com): positions are those of one pixel space;
 * of a pixel of the display window that is not in the data window the file holds nothing, and it is 0.
 */
import type { Point } from '../../../proof/pixel-samples.ts';
import { type ExrChunk, type WalkedExr, walkExr } from './chunks.ts';
import { ExrDamage, ExrForeign } from './damage.ts';
import { halfValues } from './half.ts';
import type { ExrHeader } from './header.ts';
import type { FrameBytes } from './source.ts';
import { unpackChunk } from './unpack.ts';

interface Place {
  readonly at: number;
  readonly kind: 'half' | 'float';
}

/** Where in a line the values of R, G and B lie; of a picture of luminance alone three times that of Y. */
function placesOf({ channels, width }: ExrHeader): Place[] {
  const found = new Map<string, Place>();
  let at = 0;
  for (const { name, kind, bytes } of channels) {
    if (kind !== 'uint') found.set(name, { at, kind });
    at += width * bytes;
  }
  const names = ['R', 'G', 'B'].every((name) => found.has(name)) ? ['R', 'G', 'B'] : ['Y', 'Y', 'Y'];
  return names.map((name) => {
    const place = found.get(name);
    if (place === undefined) throw new ExrForeign(`no channel ${name} of half or float values`);
    return place;
  });
}

async function linesOf(source: FrameBytes, header: ExrHeader, chunk: ExrChunk): Promise<Buffer> {
  const data = await source.read(chunk.at, chunk.bytes);
  if (data.length !== chunk.bytes) throw new ExrDamage(`the file ends inside the chunk of line ${chunk.y}`);
  const raw = unpackChunk(header, chunk, data);
  return Buffer.from(raw.buffer, raw.byteOffset, raw.length);
}

/** By the number of the chunk, places among `points`; those outside of the data window are in none. */
function pointsByChunk(points: readonly Point[], header: ExrHeader): Map<number, number[]> {
  const { displayWindow: shown, dataWindow: held } = header;
  const found = new Map<number, number[]>();
  for (const [index, point] of points.entries()) {
    const [x, y] = [shown.xMin + point.x, shown.yMin + point.y];
    if (x > shown.xMax || y > shown.yMax || point.x < 0 || point.y < 0)
      throw new ExrDamage(`no pixel (${point.x}, ${point.y}) in the display window`);
    if (x < held.xMin || x > held.xMax || y < held.yMin || y > held.yMax) continue;
    const chunk = Math.floor((y - held.yMin) / header.linesPerChunk);
    found.set(chunk, [...(found.get(chunk) ?? []), index]);
  }
  return found;
}

/**
 * R, G, B at points of the display window, counted from its first pixel. Reads the chunks they lie in and no other. Throws ExrDamage, and
 * ExrForeign for what is not unpacked here.
 */
export async function placedPixels(
  source: FrameBytes,
  points: readonly Point[],
  walked?: WalkedExr,
): Promise<Float32Array> {
  const { header, chunks } = walked ?? (await walkExr(source));
  const { displayWindow: shown, dataWindow: held, linesPerChunk, lineBytes } = header;
  // Readers of what loses something differ in the last place, and a spot has no room for that.
  if (header.compression === 'dwaa' || header.compression === 'dwab')
    throw new ExrForeign(`compression ${header.compression}`);
  const places = placesOf(header);
  const values = new Float32Array(3 * points.length);
  for (const [number, wanted] of pointsByChunk(points, header)) {
    const raw = await linesOf(source, header, chunks[number] as ExrChunk);
    for (const index of wanted) {
      const point = points[index] as Point;
      const column = shown.xMin + point.x - held.xMin;
      const row = (shown.yMin + point.y - held.yMin) % linesPerChunk;
      for (const [channel, { at, kind }] of places.entries()) {
        const start = row * lineBytes + at;
        values[3 * index + channel] =
          kind === 'half'
            ? (halfValues()[raw.readUInt16LE(start + 2 * column)] as number)
            : raw.readFloatLE(start + 4 * column);
      }
    }
  }
  return values;
}
