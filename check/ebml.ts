/** Elements of EBML (RFC 8794): an identifier, a length, a content. Only those whose length is known; nothing is guessed. */
import { FileDamage } from '../files/bytes.ts';
import { crc32 } from './crc32.ts';

export class MatroskaError extends FileDamage {
  override readonly name = 'MatroskaError';
}

export interface Element {
  /** With its length marker, as specifications write it: `0x1a45dfa3`. */
  readonly id: number;
  /** Where it begins, in the bytes that were given, and its content. */
  readonly at: number;
  readonly start: number;
  readonly end: number;
}

/** RFC 8794, 11.3.1: the first child of a master element, over everything behind it. */
const CRC_32 = 0xbf;
/** An identifier of at most four bytes and a length of at most eight. */
export const LONGEST_HEADER = 12;

/** How many bytes a number has that begins with this one; 0 where it is none. */
const widthOf = (first: number): number => Math.clz32(first) - 23;

function identifierAt(bytes: Buffer, at: number): { value: number; width: number } {
  const width = widthOf(bytes[at] ?? 0);
  if (width > 4 || at + width > bytes.length) throw new MatroskaError(`no element at byte ${at}`);
  return { value: bytes.readUIntBE(at, width), width };
}

/** A length, and how many bytes it takes. Throws MatroskaError for one that is not known: such elements only a live stream needs. */
function lengthAt(bytes: Buffer, at: number): { value: number; width: number } {
  const width = widthOf(bytes[at] ?? 0);
  if (width > 8 || at + width > bytes.length) throw new MatroskaError(`no length at byte ${at}`);
  let value = BigInt((bytes[at] as number) & (0xff >> width));
  for (let next = at + 1; next < at + width; next += 1) value = (value << 8n) | BigInt(bytes[next] as number);
  if (value === (1n << BigInt(7 * width)) - 1n)
    throw new MatroskaError(`an element of unknown length at byte ${at}`);
  if (value > BigInt(Number.MAX_SAFE_INTEGER)) throw new MatroskaError(`an element of ${value} bytes`);
  return { value: Number(value), width };
}

/** Header of the element at `at` of `bytes`, whose first byte lies at `base` of something that ends at `limit`. */
export function elementAt(bytes: Buffer, at: number, base: number, limit: number): Element {
  const id = identifierAt(bytes, at);
  const length = lengthAt(bytes, at + id.width);
  const start = base + at + id.width + length.width;
  if (start + length.value > limit)
    throw new MatroskaError(
      `element 0x${id.value.toString(16)} at byte ${base + at} says ${length.value} bytes, ${limit - start} are there`,
    );
  return { id: id.value, at: base + at, start, end: start + length.value };
}

/** Children of an element, without padding. Where the first is a checksum, it must be that of the others. */
export function children(bytes: Buffer, parent: Pick<Element, 'start' | 'end'>): Element[] {
  const found: Element[] = [];
  for (let at = parent.start; at < parent.end; ) {
    const element = elementAt(bytes, at, 0, parent.end);
    if (element.id === CRC_32) {
      if (at !== parent.start || element.end - element.start !== 4)
        throw new MatroskaError(`a checksum out of its place at byte ${at}`);
      const [said, is] = [bytes.readUInt32LE(element.start), crc32(bytes.subarray(element.end, parent.end))];
      if (said !== is)
        throw new MatroskaError(
          `checksum ${said.toString(16)} over bytes whose checksum is ${is.toString(16)}, from byte ${element.end} of its part on`,
        );
    } else if (element.id !== VOID) found.push(element);
    at = element.end;
  }
  return found;
}

/** RFC 8794, 11.3.2: padding. */
export const VOID = 0xec;

export function unsigned(bytes: Buffer, { id, start, end }: Element): number {
  if (end - start > 8)
    throw new MatroskaError(`element 0x${id.toString(16)} is a number of ${end - start} bytes`);
  let value = 0n;
  for (let at = start; at < end; at += 1) value = (value << 8n) | BigInt(bytes[at] as number);
  if (value > BigInt(Number.MAX_SAFE_INTEGER))
    throw new MatroskaError(`element 0x${id.toString(16)} is ${value}`);
  return Number(value);
}

/** An identifier of 64 bits, as it stands: decimal. */
export function identifier(bytes: Buffer, { id, start, end }: Element): string {
  if (end - start > 8)
    throw new MatroskaError(`element 0x${id.toString(16)} is a number of ${end - start} bytes`);
  return end === start ? '0' : BigInt(`0x${bytes.toString('hex', start, end)}`).toString();
}

export function float(bytes: Buffer, { id, start, end }: Element): number {
  if (end === start) return 0;
  if (end - start === 4) return bytes.readFloatBE(start);
  if (end - start === 8) return bytes.readDoubleBE(start);
  throw new MatroskaError(`element 0x${id.toString(16)} is a number of ${end - start} bytes`);
}

/** RFC 8794, 7.4 and 7.5: a text ends at its first zero byte, if it has one. */
export function text(bytes: Buffer, { start, end }: Element): string {
  return bytes.toString('utf8', start, end).replace(/\0.*$/s, '');
}

/** The number at the head of a block (a track), which is written like a length. */
export const numberAt = lengthAt;
