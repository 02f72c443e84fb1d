/**
 * Our own reading of what an FFV1 stream says of itself: the configuration record of its track, and header and slices of a
 * frame. It shares no code with the encoder and decodes no picture. Source: RFC 9043, 4.1 to 4.9.
 */
import { FileDamage } from '../files/bytes.ts';
import type { Matroska } from './matroska.ts';
import { type Context, newContext, RangeDecoder } from './range-decoder.ts';

export interface Ffv1Configuration {
  readonly version: number;
  readonly microVersion: number;
  /** 0 Golomb-Rice, 1 range coder, 2 range coder with a table of its own. */
  readonly coder: number;
  readonly transition: readonly number[];
  readonly colours: 'ycbcr' | 'rgb';
  readonly bits: number;
  readonly chroma: boolean;
  /** Samples of luma across and down for one of chroma. */
  readonly subsampling: readonly [across: number, down: number];
  readonly alpha: boolean;
  /** Slices across and down. */
  readonly slices: readonly [across: number, down: number];
  /** Every slice ends in a checksum. */
  readonly sliceChecksums: boolean;
  /** Every frame stands by itself. */
  readonly intra: boolean;
}

const pictureStructures = ['unknown', 'top-first', 'bottom-first', 'progressive'] as const;

export interface Ffv1Frame {
  readonly key: boolean;
  readonly structure: (typeof pictureStructures)[number];
  /** Shape of a pixel; 0 to 0 where it is not stated. */
  readonly pixelAspect: readonly [num: number, den: number];
  readonly slices: number;
}

export class Ffv1Error extends FileDamage {
  override readonly name = 'Ffv1Error';
}

/** RFC 9043, 4.3.2 and 4.9.3: generator 0x04C11DB7, highest bit first, from 0. What ends in its own checksum leaves 0. */
const crcTable = Uint32Array.from({ length: 256 }, (_, byte) => {
  let rest = byte << 24;
  for (let bit = 0; bit < 8; bit += 1)
    rest = (rest & 0x8000_0000) === 0 ? rest << 1 : (rest << 1) ^ 0x04c1_1db7;
  return rest >>> 0;
});
export function remainder(bytes: Buffer): number {
  let rest = 0;
  for (const byte of bytes) rest = ((rest << 8) ^ (crcTable[(rest >>> 24) ^ byte] as number)) >>> 0;
  return rest;
}

const MOST_TABLES = 8;
const CONTEXT_INPUTS = 5;
const CONTEXT_SIZE = 32;

/** RFC 9043, 4.10: lengths of equal runs of the first half. Returns how many contexts there are. */
function quantizationTable(coder: RangeDecoder): number {
  let scale = 1;
  for (let input = 0; input < CONTEXT_INPUTS; input += 1) {
    const context = newContext();
    let steps = 0;
    for (let at = 0; at < 128; steps += 1) {
      at += coder.number(context) + 1;
      if (at > 128) throw new Ffv1Error('a quantization table is longer than a table');
    }
    scale *= 2 * steps - 1;
  }
  return (scale + 1) / 2;
}

/** Throws Ffv1Error for what is no whole record of version 3. */
export function readConfiguration(record: Buffer): Ffv1Configuration {
  if (record.length < 8) throw new Ffv1Error(`a configuration record of ${record.length} bytes`);
  if (remainder(record) !== 0)
    throw new Ffv1Error('the checksum of the configuration record is not that of its bytes');
  try {
    return parameters(new RangeDecoder(record.subarray(0, -4)));
  } catch (error) {
    throw error instanceof RangeError ? new Ffv1Error(`its configuration record: ${error.message}`) : error;
  }
}

function parameters(coder: RangeDecoder): Ffv1Configuration {
  const context = newContext();
  const number = (): number => coder.number(context);
  const version = number();
  if (version !== 3) throw new Ffv1Error(`version ${version}`);
  const microVersion = number();
  const type = number();
  if (type > 2) throw new Ffv1Error(`coder type ${type}`);
  const transition = type < 2 ? [] : [0, ...Array.from({ length: 255 }, () => coder.number(context, true))];
  const colours = number();
  if (colours > 1) throw new Ffv1Error(`colour space ${colours}`);
  const bits = number() || 8;
  const chroma = coder.bit(context);
  const subsampling = [2 ** number(), 2 ** number()] as const;
  const alpha = coder.bit(context);
  const slices = [number() + 1, number() + 1] as const;
  const tables = number();
  if (tables < 1 || tables > MOST_TABLES) throw new Ffv1Error(`${tables} quantization tables`);
  const contexts = Array.from({ length: tables }, () => quantizationTable(coder));
  // Each of the states of a context has a context of its own to be written with.
  const states = Array.from({ length: CONTEXT_SIZE }, newContext);
  for (const count of contexts) {
    if (!coder.bit(context)) continue;
    for (let index = 0; index < count * CONTEXT_SIZE; index += 1) {
      coder.number(states[index % CONTEXT_SIZE] as Context, true);
      if (coder.overrun > 2) throw new Ffv1Error('initial states beyond the end of the configuration record');
    }
  }
  const errorDetection = number();
  if (errorDetection > 1) throw new Ffv1Error(`error detection ${errorDetection}`);
  const intra = number() === 1;
  if (coder.overrun > 2) throw new Ffv1Error('the configuration record ends too early');
  return {
    version,
    microVersion,
    coder: type,
    transition,
    colours: colours === 0 ? 'ycbcr' : 'rgb',
    bits,
    chroma,
    subsampling,
    alpha,
    slices,
    sliceChecksums: errorDetection === 1,
    intra,
  };
}

/** Slices from the last to the first, by the sizes that each ends in. With checksums, each is checked. */
function sliceStarts(frame: Buffer, checksums: boolean): number[] {
  const footer = checksums ? 8 : 3;
  const starts: number[] = [];
  let end = frame.length;
  while (end > 0) {
    if (end < footer) throw new Ffv1Error(`${end} bytes before the first slice`);
    const start = end - footer - frame.readUIntBE(end - footer, 3);
    if (start < 0) throw new Ffv1Error('a slice begins before its frame');
    if (checksums && frame[end - 5] !== 0)
      throw new Ffv1Error(`a slice that says of itself that it is damaged (${frame[end - 5]})`);
    if (checksums && remainder(frame.subarray(start, end)) !== 0)
      throw new Ffv1Error(`the checksum of the slice at byte ${start} is not that of its bytes`);
    starts.push(start);
    end = start;
  }
  return starts.reverse();
}

/** Throws Ffv1Error for a frame that cannot be followed, and for a slice whose checksum is wrong. */
export function readFrame(frame: Buffer, configuration: Ffv1Configuration): Ffv1Frame {
  const starts = sliceStarts(frame, configuration.sliceChecksums);
  const coder = new RangeDecoder(frame.subarray(0, starts[1] ?? frame.length));
  try {
    const key = coder.bit(newContext());
    coder.useTransition(configuration.transition);
    const context = newContext();
    // Place and size of the slice, then which tables its planes use: luma, chroma, alpha.
    for (let field = 0; field < 4 + 2 + (configuration.alpha ? 1 : 0); field += 1) coder.number(context);
    const structure = pictureStructures[coder.number(context)];
    if (structure === undefined) throw new Ffv1Error('a picture structure that is not defined');
    return {
      key,
      structure,
      pixelAspect: [coder.number(context), coder.number(context)],
      slices: starts.length,
    };
  } catch (error) {
    throw error instanceof RangeError ? new Ffv1Error(`the header of a frame: ${error.message}`) : error;
  }
}

/** What stands before the record in files that name the codec by four letters: a BITMAPINFOHEADER. */
const HEADER_BYTES = 40;
const FOUR_LETTERS = 16;

/** The configuration record of a track, after RFC 9043, 4.3.3.4 (V_FFV1), or as older writers put it. */
function recordOf(codecId: string, secret: Buffer | null): Buffer {
  if (codecId === 'V_FFV1' && secret !== null) return secret;
  if (
    codecId === 'V_MS/VFW/FOURCC' &&
    secret !== null &&
    secret.length > HEADER_BYTES &&
    secret.toString('latin1', FOUR_LETTERS, FOUR_LETTERS + 4) === 'FFV1'
  )
    return secret.subarray(HEADER_BYTES);
  throw new Ffv1Error(`a picture track of ${codecId}`);
}

/** Throws Ffv1Error for a file whose first picture track is no FFV1 that this understands. */
export function pictureStream({ tracks, firstFrame }: Matroska): {
  configuration: Ffv1Configuration;
  frame: Ffv1Frame;
} {
  const track = tracks.find(({ type }) => type === 1);
  if (track === undefined || firstFrame === null) throw new Ffv1Error('no picture');
  const configuration = readConfiguration(recordOf(track.codecId, track.codecPrivate));
  return { configuration, frame: readFrame(firstFrame, configuration) };
}
