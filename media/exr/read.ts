/** Values of an OpenEXR file, as floats or as the halves that are stored. */
import { type ExrChannel, bytesOfPixelType } from './attribute.ts';
import { ExrDamage, ExrForeign } from './damage.ts';
import { halfValues, isNotFinite } from './half.ts';
import type { ExrHeader } from './parse.ts';
import type { ByteSource } from './source.ts';
import { unpackChunk } from './unpack.ts';
import { type ExrChunk, type WalkedExr, walkExr } from './walk.ts';

/** From the data window's upper left corner. */
export interface Point {
  readonly x: number;
  readonly y: number;
}

async function rawOf(source: ByteSource, header: ExrHeader, chunk: ExrChunk): Promise<Buffer> {
  const data = await source.read(chunk.at, chunk.bytes);
  if (data.length !== chunk.bytes) throw new ExrDamage(`the file ends inside the chunk of line ${chunk.y}`);
  const raw = unpackChunk(header, chunk, data);
  return Buffer.from(raw.buffer, raw.byteOffset, raw.length);
}

/** Where a channel's values begin in the data of a line. */
function placesOf({ channels, width }: ExrHeader): { channel: ExrChannel; place: number }[] {
  let place = 0;
  return channels.map((channel) => {
    const here = { channel, place };
    place += width * bytesOfPixelType[channel.pixelType];
    return here;
  });
}

/** One channel of one line as floats; whole numbers above 2^24 lose their last places. */
function copyLine(raw: Buffer, at: number, { pixelType }: ExrChannel, to: Float32Array): void {
  if (pixelType === 'half') {
    const values = halfValues();
    const halves = halvesOf(raw.subarray(at, at + 2 * to.length));
    for (let x = 0; x < to.length; x++) to[x] = values[halves[x] as number] as number;
  } else {
    for (let x = 0; x < to.length; x++) to[x] = pixelType === 'float' ? raw.readFloatLE(at + 4 * x) : raw.readUInt32LE(at + 4 * x);
  }
}

/** All channels by name, `width` x `height` values each, line by line from the top. Throws ExrDamage and ExrForeign. */
export async function decodeAll(source: ByteSource, walked?: WalkedExr): Promise<Map<string, Float32Array>> {
  const { header, chunks } = walked ?? (await walkExr(source));
  const { width, height, lineBytes } = header;
  const planes = new Map(header.channels.map(({ name }) => [name, new Float32Array(width * height)]));
  const places = placesOf(header);
  for (const chunk of chunks) {
    const raw = await rawOf(source, header, chunk);
    for (let line = 0; line < chunk.lines; line++) {
      const start = (chunk.y - header.dataWindow.yMin + line) * width;
      for (const { channel, place } of places) copyLine(raw, line * lineBytes + place, channel, (planes.get(channel.name) as Float32Array).subarray(start, start + width));
    }
  }
  return planes;
}

/** Bits of the halves of each channel, as stored. Throws ExrForeign when a channel is of another type. */
export async function decodeHalves(source: ByteSource, walked?: WalkedExr): Promise<Map<string, Uint16Array>> {
  const { header, chunks } = walked ?? (await walkExr(source));
  holdToHalf(header);
  const { width, height, channels } = header;
  const planes = channels.map(() => new Uint16Array(width * height));
  for (const chunk of chunks) {
    const halves = halvesOf(await rawOf(source, header, chunk));
    for (let line = 0; line < chunk.lines; line++) {
      const start = (chunk.y - header.dataWindow.yMin + line) * width;
      planes.forEach((plane, index) => {
        const at = (line * channels.length + index) * width;
        plane.set(halves.subarray(at, at + width), start);
      });
    }
  }
  return new Map(channels.map(({ name }, index) => [name, planes[index] as Uint16Array]));
}

function holdToHalf({ channels }: ExrHeader): void {
  const other = channels.find(({ pixelType }) => pixelType !== 'half');
  if (other !== undefined) throw new ExrForeign(`channel ${other.name} of ${other.pixelType} values`);
}

/** Raw bytes as 16-bit words, which asks for an even place in memory. */
function halvesOf(raw: Uint8Array): Uint16Array {
  const aligned = raw.byteOffset % 2 === 0 ? raw : new Uint8Array(raw);
  return new Uint16Array(aligned.buffer, aligned.byteOffset, aligned.length / 2);
}

/**
 * Values of the named channels at those points, in the order of the points, out of decoded halves of a picture of that size.
 * Throws RangeError for a point outside and a channel that is not there.
 */
export function valuesAt(planes: ReadonlyMap<string, Uint16Array>, { width, height }: Pick<ExrHeader, 'width' | 'height'>, points: readonly Point[], names: readonly string[]): number[][] {
  const values = halfValues();
  const wanted = names.map((name) => {
    const found = planes.get(name);
    if (found === undefined) throw new RangeError(`no channel ${name}`);
    return found;
  });
  return points.map(({ x, y }) => {
    if (!Number.isInteger(x) || !Number.isInteger(y) || x < 0 || y < 0 || x >= width || y >= height) throw new RangeError(`no pixel (${x}, ${y}) in ${width}x${height}`);
    return wanted.map((plane) => values[plane[y * width + x] as number] as number);
  });
}

export interface ChannelSurvey {
  readonly name: string;
  /** Of the finite values; null when there is none. */
  readonly least: number | null;
  readonly greatest: number | null;
  /** Infinities and no numbers. */
  readonly notFinite: number;
}

/** Least and greatest rank of some halves. Ranks are whole numbers in the order of the values: their bits, and below zero the bits counted from the end. */
function ranksOf(halves: Uint16Array): { least: number; greatest: number } {
  let least = 0x7fff;
  let greatest = -0x8000;
  for (let at = 0; at < halves.length; at++) {
    const signed = ((halves[at] as number) << 16) >> 16;
    const rank = signed ^ ((signed >> 31) & 0x7fff);
    if (rank < least) least = rank;
    if (rank > greatest) greatest = rank;
  }
  return { least, greatest };
}
const halfOfRank = (rank: number): number => (rank < 0 ? (rank ^ 0x7fff) & 0xffff : rank);

/** Looks at every value of the planes that `decodeHalves` gives. */
export function surveyHalves(planes: ReadonlyMap<string, Uint16Array>): ChannelSurvey[] {
  const value = (rank: number): number => halfValues()[halfOfRank(rank)] as number;
  return [...planes].map(([name, halves]) => {
    const all = ranksOf(halves);
    // Infinities and no numbers have the outermost ranks, so one look at both ends tells whether there are any.
    const whole = !isNotFinite(halfOfRank(all.least)) && !isNotFinite(halfOfRank(all.greatest));
    const finite = whole ? halves : halves.filter((half) => !isNotFinite(half));
    const { least, greatest } = whole ? all : ranksOf(finite);
    const notFinite = halves.length - finite.length;
    return least > greatest ? { name, least: null, greatest: null, notFinite } : { name, least: value(least), greatest: value(greatest), notFinite };
  });
}
