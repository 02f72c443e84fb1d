/**
 * What an H.264 track says of its stream: the configuration record (ISO/IEC 14496-15, 5.3.3.1), the sequence parameter set in it (ITU-T H.264,
 * 7.3.2.1.1 and annex E), and which of its pictures begin afresh (7.4.1.2.4). Of the media data only the heads of units are read.
 */
import { readAt } from '../../files/bytes.ts';
import { type Box, MovieError, type Part, place } from './boxes.ts';
import { aspects, Bits, EXTENDED_ASPECT, unescaped } from './bits.ts';
import type { PicturePlace } from './walk.ts';

export interface SequenceSet {
  readonly profile: number;
  readonly constraints: number;
  readonly level: number;
  readonly chromaFormat: number;
  readonly bits: readonly [luma: number, chroma: number];
  readonly width: number;
  readonly height: number;
  /** Fields are coded each by itself, or may be. */
  readonly framesOnly: boolean;
  /** Null: not stated. */
  readonly pixelAspect: readonly [number, number] | null;
  readonly fullRange: boolean | null;
  readonly colours: readonly [primaries: number, transfer: number, matrix: number] | null;
  /** Ticks of a field, and of a second. */
  readonly timing: readonly [ticks: number, scale: number] | null;
  /** Pictures that may be out of order, and pictures that are kept for it; null: not stated, or behind what is not read here. */
  readonly reordering: readonly [out: number, kept: number] | null;
}

export interface AvcConfiguration {
  readonly version: number;
  readonly profile: number;
  readonly constraints: number;
  readonly level: number;
  /** Bytes of the length before each unit. */
  readonly lengthBytes: number;
  readonly sequenceSets: number;
  readonly pictureSets: number;
  readonly sequence: SequenceSet;
  /** Bits that the record leaves reserved are as they must be, and nothing stands behind it. */
  readonly exact: boolean;
  readonly box: Box;
}

/** 7.3.2.1.1: profiles whose sets say how chroma is sampled. */
const withChroma: readonly number[] = [100, 110, 122, 244, 44, 83, 86, 118, 128, 138, 139, 134, 135];

function skipScalingLists(bits: Bits, lists: number): void {
  for (let list = 0; list < lists; list += 1) {
    if (!bits.flag()) continue;
    let [last, next] = [8, 8];
    for (let index = 0; index < (list < 6 ? 16 : 64); index += 1) {
      if (next !== 0) next = (last + bits.signed() + 256) % 256;
      if (next !== 0) last = next;
    }
  }
}

function usability(
  bits: Bits,
): Pick<SequenceSet, 'pixelAspect' | 'fullRange' | 'colours' | 'timing' | 'reordering'> {
  let pixelAspect: SequenceSet['pixelAspect'] = null;
  let [fullRange, colours]: [boolean | null, SequenceSet['colours']] = [null, null];
  if (bits.flag()) {
    const code = bits.bits(8);
    pixelAspect = code === EXTENDED_ASPECT ? [bits.bits(16), bits.bits(16)] : (aspects[code] ?? [0, 0]);
  }
  if (bits.flag()) bits.flag();
  if (bits.flag()) {
    bits.bits(3);
    fullRange = bits.flag();
    if (bits.flag()) colours = [bits.bits(8), bits.bits(8), bits.bits(8)];
  }
  if (bits.flag()) {
    bits.unsigned();
    bits.unsigned();
  }
  const timing = bits.flag() ? ([bits.bits(32), bits.bits(32)] as const) : null;
  // Whether frames come at one rate.
  if (timing !== null) bits.flag();
  // E.1.1: two descriptions of a buffer, which ours do not have; the structure of pictures; then what is asked for.
  const buffered = bits.flag() || bits.flag();
  let reordering: SequenceSet['reordering'] = null;
  if (!buffered) {
    bits.flag();
    if (bits.flag()) {
      bits.flag();
      for (let skipped = 0; skipped < 4; skipped += 1) bits.unsigned();
      reordering = [bits.unsigned(), bits.unsigned()];
    }
  }
  return { pixelAspect, fullRange, colours, timing, reordering };
}

/** `unit`: with its head. Throws MovieError for what is no such set. */
export function readSequenceSet(unit: Buffer): SequenceSet {
  if (unit.length < 4 || ((unit[0] as number) & 0x9f) !== 7)
    throw new MovieError('a sequence parameter set of another type');
  const bytes = unescaped(unit.subarray(1));
  const bits = new Bits(bytes);
  const [profile, constraints, level] = [bits.bits(8), bits.bits(8), bits.bits(8)];
  bits.unsigned();
  let chromaFormat = 1;
  let depths: [number, number] = [8, 8];
  if (withChroma.includes(profile)) {
    chromaFormat = bits.unsigned();
    if (chromaFormat === 3) bits.flag();
    depths = [8 + bits.unsigned(), 8 + bits.unsigned()];
    bits.flag();
    if (bits.flag()) skipScalingLists(bits, chromaFormat === 3 ? 12 : 8);
  }
  bits.unsigned();
  const order = bits.unsigned();
  if (order === 0) bits.unsigned();
  else if (order === 1) {
    bits.flag();
    bits.signed();
    bits.signed();
    const cycle = bits.unsigned();
    if (cycle > 255) throw new MovieError(`a cycle of ${cycle} pictures in a sequence parameter set`);
    for (let index = 0; index < cycle; index += 1) bits.signed();
  }
  bits.unsigned();
  bits.flag();
  const [across, units] = [bits.unsigned() + 1, bits.unsigned() + 1];
  const framesOnly = bits.flag();
  if (!framesOnly) bits.flag();
  bits.flag();
  const crop = bits.flag()
    ? [bits.unsigned(), bits.unsigned(), bits.unsigned(), bits.unsigned()]
    : [0, 0, 0, 0];
  const [left, right, top, bottom] = crop as [number, number, number, number];
  // 7.4.2.1.1, equations 7-19 to 7-22.
  const unitX = chromaFormat === 1 || chromaFormat === 2 ? 2 : 1;
  const unitY = (chromaFormat === 1 ? 2 : 1) * (framesOnly ? 1 : 2);
  return {
    profile,
    constraints,
    level,
    chromaFormat,
    bits: depths,
    width: 16 * across - unitX * (left + right),
    height: 16 * units * (framesOnly ? 1 : 2) - unitY * (top + bottom),
    framesOnly,
    ...(bits.flag()
      ? usability(bits)
      : { pixelAspect: null, fullRange: null, colours: null, timing: null, reordering: null }),
  };
}

export function readAvcConfiguration({ bytes, base }: Part, box: Box): AvcConfiguration {
  const record = bytes.subarray(box.start - base, box.end - base);
  const where = place(box.path, box.at);
  const need = (end: number): void => {
    if (end > record.length) throw new MovieError(`${where} ends within its record`);
  };
  need(7);
  const [version, profile, constraints, level, length, sets] = record as unknown as [
    number,
    number,
    number,
    number,
    number,
    number,
  ];
  let at = 6;
  const units = (count: number): Buffer[] =>
    Array.from({ length: count }, () => {
      need(at + 2);
      const end = at + 2 + record.readUInt16BE(at);
      need(end);
      const unit = record.subarray(at + 2, end);
      at = end;
      return unit;
    });
  const sequences = units(sets & 0x1f);
  need(at + 1);
  const pictures = record[at] as number;
  at += 1;
  units(pictures);
  const [first] = sequences;
  if (first === undefined) throw new MovieError(`${where} has no sequence parameter set`);
  const sequence = readSequenceSet(first);
  // 5.3.3.1.2: of High and above the record says chroma and depth once more.
  const extension = record.subarray(at);
  const [chroma, luma] = [0xfc | sequence.chromaFormat, 0xf8 | (sequence.bits[0] - 8)];
  const exact =
    length >> 2 === 0x3f &&
    sets >> 5 === 7 &&
    (withChroma.includes(profile)
      ? extension.equals(Buffer.from([chroma, luma, 0xf8 | (sequence.bits[1] - 8), 0]))
      : extension.length === 0);
  return {
    version,
    profile,
    constraints,
    level,
    lengthBytes: (length & 3) + 1,
    sequenceSets: sequences.length,
    pictureSets: pictures,
    sequence,
    exact,
    box,
  };
}

/** 7.4.1, Table 7-1. */
const IDR = 5;
const SLICE = 1;
/** Units before the first slice of a picture: delimiters, sets, messages. */
const MOST_UNITS = 64;

/**
 * Whether a picture is an instantaneous decoding refresh, read from the heads of its units in the file; null: none of them is a
 * slice. A few bytes of it are read, whatever its size.
 */
export async function refreshAt({ handle, from, end, lengthBytes }: PicturePlace): Promise<boolean | null> {
  let at = from;
  for (let unit = 0; unit < MOST_UNITS && at + lengthBytes < end; unit += 1) {
    const head = await readAt(handle, at, lengthBytes + 1);
    if (head.length <= lengthBytes) return null;
    const type = (head[lengthBytes] as number) & 0x1f;
    if (type === IDR || type === SLICE) return type === IDR;
    at += lengthBytes + head.readUIntBE(0, lengthBytes);
  }
  return null;
}
