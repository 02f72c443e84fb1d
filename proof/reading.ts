/**
 * What the threads of a master read, against what the decoder gave: of each frame the averages of both (form.ts), by which a
 * black, repeated, dropped, mirrored or mixed frame between decoder and thread is found. Kept beside the reports, so that an audit compares again.
 */
import { z } from 'zod';
import { CELLS, COLOUR_CELLS, type Reading } from './form.ts';

/**
 * How far two averages of one frame may lie apart, in words of 16 bits: rounding alone, a 16th of an 8-bit step. Measured: at
 * most 5, in planar Y'CbCr and grey of 8 to 16 bits and RGB of 8, each with noise over waves, at nine sizes from 96x54 to 4096x2160 (FFmpeg 5.1); `test/proof/read-averages.test.ts` repeats a part of it.
 */
export const READ_BOUND = 16;

/** `differs`: a frame whose averages are not the decoder's. */
export interface ReadDifference {
  readonly frame: number;
  /** The greatest difference, in steps of 8 bits; of how many cells, of luma and chroma together. */
  readonly steps: number;
  readonly cells: number;
  /** Which frame of the decoder it is instead; null: none. */
  readonly shows: number | null;
}

export interface ReadComparison {
  readonly frames: number;
  /** Frames whose chroma was compared as well. */
  readonly colourFrames: number;
  /** The greatest difference of all that are as decoded, in words of 16 bits. */
  readonly worst: number;
  readonly differences: readonly ReadDifference[];
}

/** null: they are not of the same frames, so that nothing can be compared. */
export function compareReading({ decoded, read }: Reading): ReadComparison | null {
  if (decoded.frames !== read.frames || decoded.views !== 1 || read.views !== 1) return null;
  if (decoded.luma.length !== decoded.frames * CELLS || read.luma.length !== decoded.luma.length) return null;
  const hasColour = decoded.colour !== null && read.colour !== null;
  if (hasColour && decoded.colour?.length !== read.colour?.length) return null;
  const differences: ReadDifference[] = [];
  let worst = 0;
  for (let frame = 0; frame < decoded.frames; frame += 1) {
    const luma = apart(part(read.luma, frame, CELLS), part(decoded.luma, frame, CELLS));
    const chroma = chromaApart(decoded.colour, read.colour, frame);
    const most = Math.max(luma.most, chroma.most);
    if (most <= READ_BOUND) worst = Math.max(worst, most);
    else
      differences.push({
        frame,
        steps: most / 256,
        cells: luma.cells + chroma.cells,
        shows: luma.cells === 0 ? null : frameShown(decoded.luma, read.luma, frame),
      });
  }
  return {
    frames: decoded.frames,
    colourFrames: hasColour ? (decoded.colour?.length ?? 0) / (2 * COLOUR_CELLS) : 0,
    worst,
    differences,
  };
}

const part = (words: Uint16Array, index: number, size: number): Uint16Array =>
  words.subarray(index * size, (index + 1) * size);

interface Apart {
  readonly most: number;
  /** Beyond the bound. */
  readonly cells: number;
}

function chromaApart(decoded: Uint16Array | null, read: Uint16Array | null, frame: number): Apart {
  if (decoded === null || read === null) return { most: 0, cells: 0 };
  return apart(part(read, frame, 2 * COLOUR_CELLS), part(decoded, frame, 2 * COLOUR_CELLS));
}

function apart(a: Uint16Array, b: Uint16Array): Apart {
  let most = 0;
  let cells = 0;
  for (const [cell, value] of a.entries()) {
    const off = Math.abs(value - (b[cell] as number));
    most = Math.max(most, off);
    if (off > READ_BOUND) cells += 1;
  }
  return { most, cells };
}

/** How far away another frame is looked for. */
const REACH = 48;

function frameShown(decoded: Uint16Array, read: Uint16Array, frame: number): number | null {
  const frames = decoded.length / CELLS;
  const own = part(read, frame, CELLS);
  for (let step = 1; step <= REACH; step += 1)
    for (const other of [frame - step, frame + step]) {
      if (other < 0 || other >= frames) continue;
      if (apart(own, part(decoded, other, CELLS)).cells === 0) return other;
    }
  return null;
}

const headSchema = z.strictObject({
  frames: z.int().nonnegative(),
  /** Frames of which both have chroma; null: there is none to compare. */
  colours: z.int().nonnegative().nullable(),
});

/** Words apart into low and high bytes: what hardly changes lies together. */
function split(words: Uint16Array): Buffer {
  const out = Buffer.alloc(2 * words.length);
  for (const [at, word] of words.entries()) {
    out[at] = word & 0xff;
    out[words.length + at] = word >> 8;
  }
  return out;
}

const less = (a: Uint16Array, b: Uint16Array): Uint16Array =>
  Uint16Array.from(a, (value, at) => value - (b[at] as number));
const more = (a: Uint16Array, b: Uint16Array): Uint16Array =>
  Uint16Array.from(a, (value, at) => value + (b[at] as number));
/** From frame to frame. */
const steps = (words: Uint16Array, size: number): Uint16Array =>
  Uint16Array.from(words, (value, at) => value - (at < size ? 0 : (words[at - size] as number)));
function summed(words: Uint16Array, size: number): Uint16Array {
  const out = Uint16Array.from(words);
  for (let at = size; at < out.length; at += 1) out[at] = (out[at] as number) + (out[at - size] as number);
  return out;
}

/** As part of a file of samples or fingerprints; the file compresses it. */
export function readingBytes({ decoded, read }: Reading): Buffer {
  const both = decoded.colour !== null && read.colour !== null;
  const colours = both ? (decoded.colour?.length ?? 0) / (2 * COLOUR_CELLS) : null;
  const head = Buffer.from(JSON.stringify({ frames: decoded.frames, colours }));
  const length = Buffer.alloc(4);
  length.writeUInt32LE(head.length);
  return Buffer.concat([
    length,
    head,
    split(steps(decoded.luma, CELLS)),
    split(less(read.luma, decoded.luma)),
    ...(decoded.colour === null || read.colour === null
      ? []
      : [split(steps(decoded.colour, 2 * COLOUR_CELLS)), split(less(read.colour, decoded.colour))]),
  ]);
}

/** Throws RangeError for what is not whole. */
export function readingOf(bytes: Buffer): Reading {
  let at = 0;
  const take = (count: number): Buffer => {
    if (at + count > bytes.length) throw new RangeError('what the threads read ends too early');
    at += count;
    return bytes.subarray(at - count, at);
  };
  const words = (count: number): Uint16Array => {
    const part = take(2 * count);
    return Uint16Array.from(
      { length: count },
      (_, index) => (part[index] as number) | ((part[count + index] as number) << 8),
    );
  };
  const head = headSchema.safeParse(jsonOf(take(take(4).readUInt32LE(0))));
  if (!head.success) throw new RangeError('what the threads read has no head');
  const { frames, colours } = head.data;
  const luma = summed(words(frames * CELLS), CELLS);
  const readLuma = more(words(frames * CELLS), luma);
  const size = 2 * COLOUR_CELLS;
  const colour = colours === null ? null : summed(words(colours * size), size);
  const readColour = colour === null ? null : more(words(colour.length), colour);
  if (at !== bytes.length) throw new RangeError('what the threads read is too long');
  return {
    decoded: { frames, views: 1, luma, colour },
    read: { frames, views: 1, luma: readLuma, colour: readColour },
  };
}

function jsonOf(bytes: Buffer): unknown {
  try {
    return JSON.parse(bytes.toString('utf8'));
  } catch {
    // What it lacks is reported by its schema.
    return null;
  }
}
