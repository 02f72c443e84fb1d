/**
 * What an H.265 track says of its stream: the configuration record (ISO/IEC 14496-15, 8.3.3.1), the sequence parameter set in it (ITU-T H.265,
 * 7.3.2.2 and annex E), and of each picture whether it begins afresh, and the messages before it (7.3.5, annex D). Of the media data only the heads of
 * units are read, and messages.
 */
import { readAt } from '../../files/bytes.ts';
import { aspects, Bits, EXTENDED_ASPECT, unescaped } from './bits.ts';
import { type Box, MovieError, type Part, place } from './boxes.ts';
import type { PicturePlace } from './walk.ts';

/** H.265, Table 7-1. */
const VIDEO_SET = 32;
const SEQUENCE_SET = 33;
const PICTURE_SET = 34;
const MESSAGE = 39;
/** Instantaneous decoding refreshes, with and without leading pictures. */
const REFRESHES: readonly number[] = [19, 20];
const LAST_SLICE = 31;

/** Profile, tier and level (7.3.3): as they lie in the record, and in the set. */
export interface Tier {
  readonly space: number;
  readonly high: boolean;
  readonly profile: number;
  readonly compatible: number;
  /** 48 bits: what kinds of frames there are, and what is left out. Hexadecimal. */
  readonly constraints: string;
  readonly level: number;
}

export interface SequenceSetH265 {
  readonly tier: Tier;
  readonly chromaFormat: number;
  readonly bits: readonly [luma: number, chroma: number];
  readonly width: number;
  readonly height: number;
  /** Null: not stated. */
  readonly pixelAspect: readonly [number, number] | null;
  readonly fullRange: boolean | null;
  readonly colours: readonly [primaries: number, transfer: number, matrix: number] | null;
  /** Of the first and of the second field. */
  readonly chromaPlaces: readonly [number, number] | null;
  readonly fields: boolean;
  /** Ticks of a picture, and of a second. */
  readonly timing: readonly [ticks: number, scale: number] | null;
  /** Pictures that may be out of order, and pictures that are kept. */
  readonly reordering: readonly [out: number, kept: number];
}

/** D.2.1: kind and content. */
export interface Message {
  readonly type: number;
  /** Hexadecimal. */
  readonly payload: string;
}

export interface HevcConfiguration {
  readonly version: number;
  readonly tier: Tier;
  readonly chromaFormat: number;
  readonly bits: readonly [luma: number, chroma: number];
  /** Pictures in 256 seconds; 0: not stated. */
  readonly averageRate: number;
  /** Bytes of the length before each unit. */
  readonly lengthBytes: number;
  readonly layers: number;
  /** Of each kind of unit in order: how many, and whether the samples have none. */
  readonly arrays: readonly { readonly type: number; readonly units: number; readonly complete: boolean }[];
  readonly messages: readonly Message[];
  readonly sequence: SequenceSetH265;
  /** Bits that the record leaves reserved are as they must be, and nothing lies behind it. */
  readonly exact: boolean;
  readonly box: Box;
}

function readTier(bits: Bits): Tier {
  const [space, high, profile] = [bits.bits(2), bits.flag(), bits.bits(5)];
  const compatible = bits.bits(32);
  const constraints = bits.bits(48).toString(16).padStart(12, '0');
  return { space, high, profile, compatible, constraints, level: bits.bits(8) };
}

/** 7.3.3: of layers within the picture rate, which ours do not have. */
function skipLayers(bits: Bits, more: number): void {
  const present = Array.from({ length: more }, () => [bits.flag(), bits.flag()] as const);
  if (more > 0) for (let layer = more; layer < 8; layer += 1) bits.bits(2);
  for (const [profile, level] of present) {
    if (profile) for (let part = 0; part < 11; part += 1) bits.bits(8);
    if (level) bits.bits(8);
  }
}

/** 7.3.4. */
function skipScalingLists(bits: Bits): void {
  for (let size = 0; size < 4; size += 1)
    for (let matrix = 0; matrix < 6; matrix += size === 3 ? 3 : 1) {
      if (!bits.flag()) {
        bits.unsigned();
        continue;
      }
      if (size > 1) bits.signed();
      for (let index = 0; index < Math.min(64, 1 << (4 + 2 * size)); index += 1) bits.signed();
    }
}

/** 7.3.7 and 7.4.8: distances of the pictures that a set refers to. */
function readReferences(bits: Bits, sets: readonly (readonly number[])[]): number[] {
  const last = sets.at(-1);
  if (last !== undefined && bits.flag()) {
    const negative = bits.flag();
    const step = (bits.unsigned() + 1) * (negative ? -1 : 1);
    return [...last, 0].flatMap((distance) => {
      const used = bits.flag() || bits.flag();
      return used && distance + step !== 0 ? [distance + step] : [];
    });
  }
  const counts = [bits.unsigned(), bits.unsigned()] as const;
  if (counts[0] + counts[1] > 32)
    throw new MovieError('a sequence parameter set with more references than there can be');
  const side = (count: number, sign: number): number[] => {
    let distance = 0;
    return Array.from({ length: count }, () => {
      distance += sign * (bits.unsigned() + 1);
      bits.flag();
      return distance;
    });
  };
  return [...side(counts[0], -1), ...side(counts[1], 1)];
}

type Usability = Pick<
  SequenceSetH265,
  'pixelAspect' | 'fullRange' | 'colours' | 'chromaPlaces' | 'fields' | 'timing'
>;
const UNSTATED: Usability = {
  pixelAspect: null,
  fullRange: null,
  colours: null,
  chromaPlaces: null,
  fields: false,
  timing: null,
};

/** E.2.1, up to the rate. */
function usability(bits: Bits): Usability {
  let { pixelAspect, fullRange, colours }: Usability = UNSTATED;
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
  const chromaPlaces = bits.flag() ? ([bits.unsigned(), bits.unsigned()] as const) : null;
  bits.flag();
  const fields = bits.flag();
  bits.flag();
  if (bits.flag()) for (let side = 0; side < 4; side += 1) bits.unsigned();
  const timing = bits.flag() ? ([bits.bits(32), bits.bits(32)] as const) : null;
  return { pixelAspect, fullRange, colours, chromaPlaces, fields, timing };
}

/** `unit`: with its head. Throws MovieError for what is no such set. */
export function readSequenceSetH265(unit: Buffer): SequenceSetH265 {
  if (unit.length < 4 || typeOf(unit) !== SEQUENCE_SET)
    throw new MovieError('a sequence parameter set of another type');
  const bits = new Bits(unescaped(unit.subarray(2)));
  bits.bits(4);
  const more = bits.bits(3);
  bits.flag();
  const tier = readTier(bits);
  skipLayers(bits, more);
  bits.unsigned();
  const chromaFormat = bits.unsigned();
  if (chromaFormat === 3) bits.flag();
  const size = [bits.unsigned(), bits.unsigned()] as const;
  const [left, right, top, bottom] = (
    bits.flag() ? [bits.unsigned(), bits.unsigned(), bits.unsigned(), bits.unsigned()] : [0, 0, 0, 0]
  ) as [number, number, number, number];
  const depths = [8 + bits.unsigned(), 8 + bits.unsigned()] as const;
  const orderBits = bits.unsigned() + 4;
  let reordering: [number, number] = [0, 0];
  for (let layer = bits.flag() ? 0 : more; layer <= more; layer += 1) {
    const kept = bits.unsigned() + 1;
    reordering = [bits.unsigned(), kept];
    bits.unsigned();
  }
  for (let skipped = 0; skipped < 6; skipped += 1) bits.unsigned();
  if (bits.flag() && bits.flag()) skipScalingLists(bits);
  bits.bits(2);
  if (bits.flag()) {
    bits.bits(8);
    bits.unsigned();
    bits.unsigned();
    bits.flag();
  }
  const count = bits.unsigned();
  if (count > 64) throw new MovieError(`a sequence parameter set with ${count} sets of references`);
  const sets: number[][] = [];
  for (let set = 0; set < count; set += 1) sets.push(readReferences(bits, sets));
  if (bits.flag()) {
    const pictures = bits.unsigned();
    if (pictures > 32) throw new MovieError(`a sequence parameter set with ${pictures} long-term references`);
    for (let picture = 0; picture < pictures; picture += 1) bits.bits(orderBits + 1);
  }
  bits.bits(2);
  // 7.4.3.2.1, Table 6-1: the window in samples of chroma.
  const [unitX, unitY] = [chromaFormat === 1 || chromaFormat === 2 ? 2 : 1, chromaFormat === 1 ? 2 : 1];
  return {
    tier,
    chromaFormat,
    bits: depths,
    width: size[0] - unitX * (left + right),
    height: size[1] - unitY * (top + bottom),
    reordering,
    ...(bits.flag() ? usability(bits) : UNSTATED),
  };
}

const typeOf = (unit: Buffer): number => ((unit[0] as number) >> 1) & 0x3f;

/** `unit`: with its head. Throws MovieError for what is no whole list of messages. */
export function readMessages(unit: Buffer): Message[] {
  const bytes = unescaped(unit.subarray(2));
  const messages: Message[] = [];
  let at = 0;
  const number = (): number => {
    let value = 0;
    for (;;) {
      const byte = bytes[at];
      if (byte === undefined) throw new MovieError('a message ends too early');
      at += 1;
      value += byte;
      if (byte !== 255) return value;
    }
  };
  // 7.3.2.4: a one behind the last, and zeros to the end of the byte.
  while (at < bytes.length - 1) {
    const [type, size] = [number(), number()];
    if (at + size > bytes.length - 1) throw new MovieError('a message ends too early');
    messages.push({ type, payload: bytes.toString('hex', at, at + size) });
    at += size;
  }
  if (bytes[at] !== 0x80) throw new MovieError('a message without its end');
  return messages;
}

export function readHevcConfiguration({ bytes, base }: Part, box: Box): HevcConfiguration {
  const record = bytes.subarray(box.start - base, box.end - base);
  const where = place(box.path, box.at);
  const need = (end: number): void => {
    if (end > record.length) throw new MovieError(`${where} ends within its record`);
  };
  need(23);
  const bits = new Bits(record);
  const version = bits.bits(8);
  const tier = readTier(bits);
  const reserved = [bits.bits(4) === 0xf];
  // Parts of a picture that are coded apart: nobody says how small they are.
  bits.bits(12);
  reserved.push(bits.bits(6) === 0x3f);
  bits.bits(2);
  reserved.push(bits.bits(6) === 0x3f);
  const chromaFormat = bits.bits(2);
  reserved.push(bits.bits(5) === 0x1f);
  const luma = 8 + bits.bits(3);
  reserved.push(bits.bits(5) === 0x1f);
  const chroma = 8 + bits.bits(3);
  const averageRate = bits.bits(16);
  bits.bits(2);
  const layers = bits.bits(3);
  bits.flag();
  const lengthBytes = bits.bits(2) + 1;
  const count = bits.bits(8);
  let at = 23;
  const units: Buffer[] = [];
  const arrays = Array.from({ length: count }, () => {
    need(at + 3);
    const head = record[at] as number;
    reserved.push((head & 0x40) === 0);
    const many = record.readUInt16BE(at + 1);
    at += 3;
    for (let unit = 0; unit < many; unit += 1) {
      need(at + 2);
      const end = at + 2 + record.readUInt16BE(at);
      need(end);
      units.push(record.subarray(at + 2, end));
      reserved.push(end > at + 3 && typeOf(record.subarray(at + 2)) === (head & 0x3f));
      at = end;
    }
    return { type: head & 0x3f, units: many, complete: head >= 0x80 };
  });
  const first = units.find((unit) => unit.length > 0 && typeOf(unit) === SEQUENCE_SET);
  if (first === undefined) throw new MovieError(`${where} has no sequence parameter set`);
  return {
    version,
    tier,
    chromaFormat,
    bits: [luma, chroma],
    averageRate,
    lengthBytes,
    layers,
    arrays,
    messages: units.filter((unit) => unit.length > 2 && typeOf(unit) === MESSAGE).flatMap(readMessages),
    sequence: readSequenceSetH265(first),
    exact: reserved.every(Boolean) && at === record.length,
    box,
  };
}

/** What lies in a sample. */
export interface PictureH265 {
  /** null: there is no slice in it. */
  readonly refresh: boolean | null;
  readonly messages: readonly Message[];
  /** Types of units that are neither slices nor messages before them. */
  readonly others: readonly number[];
}

/** Units of a picture: messages, and a slice or several. */
const MOST_UNITS = 1024;
const MOST_MESSAGE = 65_536;

/** A few bytes of each unit are read, whatever its size, and messages. */
export async function pictureAt({ handle, from, end, lengthBytes }: PicturePlace): Promise<PictureH265> {
  let refresh: boolean | null = null;
  const messages: Message[] = [];
  const others: number[] = [];
  let at = from;
  for (let unit = 0; unit < MOST_UNITS && at + lengthBytes + 2 <= end; unit += 1) {
    const head = await readAt(handle, at, lengthBytes + 2);
    if (head.length < lengthBytes + 2) break;
    const length = head.readUIntBE(0, lengthBytes);
    const type = typeOf(head.subarray(lengthBytes));
    if (type <= LAST_SLICE) refresh ??= REFRESHES.includes(type);
    else if (type === MESSAGE && refresh === null && length <= MOST_MESSAGE)
      messages.push(...readMessages(await readAt(handle, at + lengthBytes, length)));
    else others.push(type);
    at += lengthBytes + length;
  }
  if (at !== end) others.push(-1);
  return { refresh, messages, others };
}

/** Kinds of the arrays that a record must have: parameter sets of video, sequence and picture. */
export const parameterSets: readonly number[] = [VIDEO_SET, SEQUENCE_SET, PICTURE_SET];
export const MESSAGES = MESSAGE;
