/** Values of an OpenEXR file, as floats or as the halves that are stored. */
import type { Point } from '../../../proof/pixel-samples.ts';
import type { Channel } from './attributes.ts';
import { ExrDamage, ExrForeign } from './damage.ts';
import { halfValues, isNotFinite } from './half.ts';
import type { ExrHeader } from './header.ts';
import type { FrameBytes } from './source.ts';
import { unpackChunk } from './unpack.ts';
import { type ExrChunk, type WalkedExr, walkExr } from './chunks.ts';

async function rawOf(source: FrameBytes, header: ExrHeader, chunk: ExrChunk): Promise<Buffer> {
  const data = await source.read(chunk.at, chunk.bytes);
  if (data.length !== chunk.bytes) throw new ExrDamage(`the file ends inside the chunk of line ${chunk.y}`);
  const raw = unpackChunk(header, chunk, data);
  return Buffer.from(raw.buffer, raw.byteOffset, raw.length);
}

/** Where a channel's values begin in the data of a line. */
function placesOf({ channels, width }: ExrHeader): { channel: Channel; place: number }[] {
  let place = 0;
  return channels.map((channel) => {
    const here = { channel, place };
    place += width * channel.bytes;
    return here;
  });
}

/** One channel of one line as floats; whole numbers above 2^24 lose their last places. */
function copyLine(raw: Buffer, at: number, { kind }: Channel, to: Float32Array): void {
  if (kind === 'half') {
    const values = halfValues();
    const halves = halvesOf(raw.subarray(at, at + 2 * to.length));
    for (let x = 0; x < to.length; x++) to[x] = values[halves[x] as number] as number;
  } else {
    for (let x = 0; x < to.length; x++)
      to[x] = kind === 'float' ? raw.readFloatLE(at + 4 * x) : raw.readUInt32LE(at + 4 * x);
  }
}

/** All channels by name, `width` x `height` values each, line by line from the top. Throws ExrDamage and ExrForeign. */
export async function decodeAll(source: FrameBytes, walked?: WalkedExr): Promise<Map<string, Float32Array>> {
  const { header, chunks } = walked ?? (await walkExr(source));
  const { width, height, lineBytes } = header;
  const planes = new Map(header.channels.map(({ name }) => [name, new Float32Array(width * height)]));
  const places = placesOf(header);
  for (const chunk of chunks) {
    const raw = await rawOf(source, header, chunk);
    for (let line = 0; line < chunk.lines; line++) {
      const start = (chunk.y - header.dataWindow.yMin + line) * width;
      for (const { channel, place } of places)
        copyLine(
          raw,
          line * lineBytes + place,
          channel,
          (planes.get(channel.name) as Float32Array).subarray(start, start + width),
        );
    }
  }
  return planes;
}

/** Bits of the halves of each channel, as stored. Throws ExrForeign when a channel is of another type. */
export async function decodeHalves(
  source: FrameBytes,
  walked?: WalkedExr,
): Promise<Map<string, Uint16Array>> {
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
  const other = channels.find(({ kind }) => kind !== 'half');
  if (other !== undefined) throw new ExrForeign(`channel ${other.name} of ${other.kind} values`);
}

/** Raw bytes as 16-bit words, which asks for an even place in memory. */
function halvesOf(raw: Uint8Array): Uint16Array {
  const aligned = raw.byteOffset % 2 === 0 ? raw : new Uint8Array(raw);
  return new Uint16Array(aligned.buffer, aligned.byteOffset, aligned.length / 2);
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

/** By the chunk they lie in, places among `points`. Throws RangeError for a point outside. */
function pointsByChunk(
  points: readonly Point[],
  { width, height, linesPerChunk }: ExrHeader,
): Map<number, number[]> {
  const found = new Map<number, number[]>();
  for (const [index, { x, y }] of points.entries()) {
    if (!Number.isInteger(x) || !Number.isInteger(y) || x < 0 || y < 0 || x >= width || y >= height)
      throw new RangeError(`no pixel (${x}, ${y}) in ${width}x${height}`);
    const chunk = Math.floor(y / linesPerChunk);
    const others = found.get(chunk);
    if (others === undefined) found.set(chunk, [index]);
    else others.push(index);
  }
  return found;
}

/** A line of one channel, as stored. */
export type OnLine = (channel: number, y: number, halves: Uint16Array) => void;

export interface Survey {
  readonly channels: readonly ChannelSurvey[];
  /** Of the named channels, point by point. */
  readonly values: Float32Array;
}

/**
 * Looks at every value of a file of halves, chunk by chunk, and takes those of the named channels at some points on the way: nothing is
 * unpacked twice, nor kept. Throws ExrDamage and ExrForeign, RangeError for a point outside and a channel that is not there.
 */
export async function surveyValues(
  source: FrameBytes,
  wanted: {
    readonly points: readonly Point[];
    readonly names: readonly string[];
    /** Called for every line of every channel; `channel`: its place among `names`, -1 for another one. `y` from the top. */
    readonly onLine?: OnLine;
  } = { points: [], names: [] },
  walked?: WalkedExr,
): Promise<Survey> {
  const { header, chunks } = walked ?? (await walkExr(source));
  holdToHalf(header);
  const { width, channels, linesPerChunk } = header;
  const { points, names } = wanted;
  const places = names.map((name) => {
    const place = channels.findIndex((channel) => channel.name === name);
    if (place < 0) throw new RangeError(`no channel ${name}`);
    return place;
  });
  const due = pointsByChunk(points, header);
  const values = new Float32Array(points.length * names.length);
  const found = channels.map(({ name }) => ({ name, least: 0x7fff, greatest: -0x8000, notFinite: 0 }));
  const value = halfValues();
  for (const [number, chunk] of chunks.entries()) {
    const halves = halvesOf(await rawOf(source, header, chunk));
    for (const point of due.get(number) ?? []) {
      const { x, y } = points[point] as Point;
      for (const [index, place] of places.entries())
        values[point * places.length + index] = value[
          halves[((y % linesPerChunk) * channels.length + place) * width + x] as number
        ] as number;
    }
    for (let row = 0; row < chunk.lines * channels.length; row++) {
      const channel = found[row % channels.length] as (typeof found)[number];
      const line = halves.subarray(row * width, (row + 1) * width);
      if (wanted.onLine !== undefined)
        wanted.onLine(
          places.indexOf(row % channels.length),
          chunk.y - header.dataWindow.yMin + Math.floor(row / channels.length),
          line,
        );
      let ranks = ranksOf(line);
      // Infinities and no numbers have the outermost ranks, so one look at both ends tells whether there are any.
      if (isNotFinite(halfOfRank(ranks.least)) || isNotFinite(halfOfRank(ranks.greatest))) {
        const finite = line.filter((half) => !isNotFinite(half));
        channel.notFinite += line.length - finite.length;
        ranks = ranksOf(finite);
      }
      channel.least = Math.min(channel.least, ranks.least);
      channel.greatest = Math.max(channel.greatest, ranks.greatest);
    }
  }
  const of = (rank: number): number => value[halfOfRank(rank)] as number;
  return {
    channels: found.map(({ name, least, greatest, notFinite }) =>
      least > greatest
        ? { name, least: null, greatest: null, notFinite }
        : { name, least: of(least), greatest: of(greatest), notFinite },
    ),
    values,
  };
}
