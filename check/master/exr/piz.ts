/**
 * PIZ chunks as values, of the checker alone: a table of the values that are there, Huffman codes, and a wavelet ("Technical Introduction to OpenEXR", "PIZ";
 * the order of its parts as OpenEXR's ImfPizCompressor.cpp reads them). A chunk is held to its last bit: whatever it has besides is damage.
 */
import { ExrDamage } from './damage.ts';

/** Of 16-bit values. */
const VALUES = 0x1_0000;
const BITMAP = VALUES / 8;
/** Huffman part: first and last symbol, bytes of the table of lengths, bits of the data, a word that is free. */
const HEAD = 20;
/** Entries of the table of lengths are 6 bits; from 59 on a number of symbols that are not there: 2 to 5, and in 8 bits more 6 to 261. */
const ENTRY = 6;
const FEW_ABSENT = 59;
const MANY_ABSENT = 63;
/** Longest code that a length has room for, and the longest that a double counts. */
const LONGEST = 58;
const COUNTED = 52;
/** Codes up to here are found at one look. */
const QUICK = 12;

/** Bits of some bytes, the first on top. Throws ExrDamage at their end. */
class Bits {
  readonly #data: Uint8Array;
  #at: number;
  #held = 0;
  #count = 0;
  #left: number;

  constructor(data: Uint8Array, at: number, bits: number) {
    this.#data = data;
    this.#at = at;
    this.#left = bits;
  }

  #fill(): void {
    while (this.#count <= 16) {
      this.#held = ((this.#held << 8) | (this.#data[this.#at++] ?? 0)) & 0xff_ffff;
      this.#count += 8;
    }
  }

  /** The next 12 without taking them; zeros behind the end. */
  peek(): number {
    if (this.#count < QUICK) this.#fill();
    return (this.#held >>> (this.#count - QUICK)) & ((1 << QUICK) - 1);
  }

  /** At most 12. */
  skip(bits: number): void {
    this.#left -= bits;
    if (this.#left < 0) throw new ExrDamage('codes that do not end with their data');
    this.#count -= bits;
  }

  /** At most 12. */
  take(bits: number): number {
    const value = this.peek() >>> (QUICK - bits);
    this.skip(bits);
    return value;
  }

  get left(): number {
    return this.#left;
  }
}

/** Lengths of the codes of symbols `first` to `last`, and the bits that they took. */
function lengthsOf(bits: Bits, first: number, last: number): Uint8Array {
  const lengths = new Uint8Array(VALUES + 1);
  for (let symbol = first; symbol <= last; ) {
    const entry = bits.take(ENTRY);
    if (entry < FEW_ABSENT) lengths[symbol++] = entry;
    else symbol += entry === MANY_ABSENT ? bits.take(8) + 6 : entry - FEW_ABSENT + 2;
    if (symbol > last + 1) throw new ExrDamage('lengths of codes beyond the last symbol');
  }
  return lengths;
}

interface Codes {
  /** By the next 12 bits: symbol times 64 and the length of its code; 0: the code is longer. */
  readonly quick: Uint32Array;
  /** By length: the first code, and how many there are; symbols in the order of their codes begin at `place`. */
  readonly base: readonly number[];
  readonly count: readonly number[];
  readonly place: readonly number[];
  readonly symbols: Uint32Array;
}

/** The longest codes begin at 0, and of equal lengths the smaller symbol comes first. */
function codesOf(lengths: Uint8Array): Codes {
  const count = new Array<number>(LONGEST + 1).fill(0);
  for (const length of lengths) if (length > 0) count[length] = (count[length] as number) + 1;
  const base = new Array<number>(LONGEST + 1).fill(0);
  let code = 0;
  for (let length = LONGEST; length > 0; length -= 1) {
    base[length] = code;
    const end = code + (count[length] as number);
    if (end > 2 ** length || (length > COUNTED && end > 0))
      throw new ExrDamage('codes that do not fit beside each other');
    if (end % 2 !== 0 && length > 1) throw new ExrDamage('codes that leave one out');
    code = end / 2;
  }
  if (code !== 1) throw new ExrDamage('codes that leave some out');
  const place = new Array<number>(LONGEST + 1).fill(0);
  let next = 0;
  for (let length = 1; length <= LONGEST; length += 1) {
    place[length] = next;
    next += count[length] as number;
  }
  const symbols = new Uint32Array(next);
  const quick = new Uint32Array(1 << QUICK);
  const taken = [...place];
  for (const [symbol, length] of lengths.entries()) {
    if (length === 0) continue;
    const at = taken[length] as number;
    taken[length] = at + 1;
    symbols[at] = symbol;
    if (length > QUICK) continue;
    const first = ((base[length] as number) + at - (place[length] as number)) << (QUICK - length);
    quick.fill(symbol * 64 + length, first, first + (1 << (QUICK - length)));
  }
  return { quick, base, count, place, symbols };
}

/** A code that is longer than one look. */
function longCode(bits: Bits, { base, count, place, symbols }: Codes): number {
  let code = bits.take(QUICK);
  for (let length = QUICK + 1; length <= COUNTED; length += 1) {
    code = 2 * code + bits.take(1);
    const above = code - (base[length] as number);
    if (above >= 0 && above < (count[length] as number))
      return symbols[(place[length] as number) + above] as number;
  }
  throw new ExrDamage('a code that no symbol has');
}

/** `wanted` words from the codes that PIZ and DWA have: all of the part's bits mean something. Throws ExrDamage. */
export function symbolsOf(part: Uint8Array, wanted: number): Uint16Array {
  if (part.length < HEAD) throw new ExrDamage('no head of the codes');
  const view = new DataView(part.buffer, part.byteOffset, part.length);
  const [first, last, table, dataBits, free] = [0, 4, 8, 12, 16].map((at) => view.getUint32(at, true)) as [
    number,
    number,
    number,
    number,
    number,
  ];
  if (first > last || last > VALUES || free !== 0) throw new ExrDamage('a head of the codes that cannot be');
  const start = HEAD + table;
  if (start + Math.ceil(dataBits / 8) !== part.length)
    throw new ExrDamage(`${part.length} bytes of codes where their head has ${start} and ${dataBits} bits`);
  const lengths = new Bits(part, HEAD, 8 * table);
  const codes = codesOf(lengthsOf(lengths, first, last));
  const tail = lengths.left;
  if (tail > 7 || lengths.take(tail) !== 0) throw new ExrDamage('bits behind the lengths of the codes');
  const bits = new Bits(part, start, dataBits);
  const out = new Uint16Array(wanted);
  const { quick } = codes;
  for (let at = 0; at < wanted; ) {
    const found = quick[bits.peek()] as number;
    let symbol: number;
    if (found === 0) symbol = longCode(bits, codes);
    else {
      bits.skip(found & 63);
      symbol = found >>> 6;
    }
    if (symbol !== last) {
      out[at++] = symbol;
      continue;
    }
    // The last symbol is no value: the value before it goes on.
    const times = bits.take(8);
    if (at === 0 || at + times > wanted) throw new ExrDamage('a run that does not fit');
    out.fill(out[at - 1] as number, at, at + times);
    at += times;
  }
  if (bits.left !== 0) throw new ExrDamage(`${bits.left} bits behind the last value`);
  if (dataBits % 8 !== 0 && ((part[part.length - 1] as number) & (0xff >> (dataBits % 8))) !== 0)
    throw new ExrDamage('bits behind the codes');
  return out;
}

/** Both values that a mean and a difference came from; `small`: all values are of 14 bits, else modulo 2^16. */
type Pair = (mean: number, difference: number) => number;
/** The first in the upper 16 bits, the second in the lower ones. */
const ofSmall: Pair = (mean, difference) => {
  const half = (difference << 16) >> 16;
  const a = ((mean << 16) >> 16) + (half & 1) + (half >> 1);
  return ((a & 0xffff) << 16) | ((a - half) & 0xffff);
};
const ofAny: Pair = (mean, difference) => {
  const b = (mean - (difference >> 1)) & 0xffff;
  const a = (difference + b - 0x8000) & 0xffff;
  return (a << 16) | b;
};

interface Grid {
  /** Place of its first value, values from one to the next, and from one line to the next. */
  readonly at: number;
  readonly step: number;
  readonly line: number;
  readonly width: number;
  readonly height: number;
}

/** Undoes the wavelet in place, from the coarsest level to the finest. */
function unwind(values: Uint16Array, { at, step, line, width, height }: Grid, pair: Pair): void {
  const least = Math.min(width, height);
  let level = 1;
  while (2 * level <= least) level *= 2;
  /** Of values at both places. */
  const both = (one: number, other: number): void => {
    const found = pair(values[one] as number, values[other] as number);
    values[one] = found >>> 16;
    values[other] = found;
  };
  for (let half = level / 2; half >= 1; half /= 2) {
    const cell = 2 * half;
    const right = half * step;
    const down = half * line;
    let y = 0;
    for (; y + cell <= height; y += cell) {
      let place = at + y * line;
      let x = 0;
      for (; x + cell <= width; x += cell, place += 2 * right) {
        both(place, place + down);
        both(place + right, place + right + down);
        both(place, place + right);
        both(place + down, place + right + down);
      }
      if ((width & half) !== 0) both(place, place + down);
    }
    if ((height & half) !== 0) {
      let place = at + y * line;
      for (let x = 0; x + cell <= width; x += cell, place += 2 * right) both(place, place + right);
    }
  }
}

/** `words`: 16-bit words of a value of each channel. Gives the lines, each with its channels one behind the other. Throws ExrDamage. */
export function fromPiz(
  data: Uint8Array,
  {
    words,
    width,
    lines,
  }: { readonly words: readonly number[]; readonly width: number; readonly lines: number },
): Uint8Array {
  const view = new DataView(data.buffer, data.byteOffset, data.length);
  if (data.length < 8) throw new ExrDamage('no head');
  const least = view.getUint16(0, true);
  const greatest = view.getUint16(2, true);
  const length = least <= greatest ? greatest - least + 1 : 0;
  if (greatest >= BITMAP || data.length < 8 + length)
    throw new ExrDamage('a table of values that does not fit');
  if (length === 0 && (least !== BITMAP - 1 || greatest !== 0))
    throw new ExrDamage('an empty table of values that is written otherwise');
  // 0 is there without being said.
  const there: number[] = [0];
  for (let at = 0; at < length; at += 1)
    for (let bit = 0; bit < 8; bit += 1)
      if ((((data[4 + at] as number) >> bit) & 1) === 1) {
        const value = 8 * (least + at) + bit;
        if (value === 0) throw new ExrDamage('a table of values that has 0 in it');
        there.push(value);
      }
  const part = 4 + length;
  if (part + 4 + view.getUint32(part, true) !== data.length)
    throw new ExrDamage(`${view.getUint32(part, true)} bytes of codes in ${data.length - part - 4}`);
  const wide = words.reduce((sum, count) => sum + count, 0) * width;
  const values = symbolsOf(data.subarray(part + 4), wide * lines);
  const pair = there.length - 1 < 2 ** 14 ? ofSmall : ofAny;
  let start = 0;
  for (const count of words) {
    for (let word = 0; word < count; word += 1)
      unwind(values, { at: start + word, step: count, line: width * count, width, height: lines }, pair);
    start += width * count * lines;
  }
  const table = new Uint16Array(VALUES);
  table.set(there);
  const out = new Uint16Array(wide * lines);
  let channel = 0;
  let left = 0;
  for (const count of words) {
    const line = width * count;
    for (let y = 0; y < lines; y += 1)
      for (let x = 0; x < line; x += 1) {
        const number = values[channel + y * line + x] as number;
        if (number >= there.length) throw new ExrDamage(`value ${number} of ${there.length}`);
        out[y * wide + left + x] = table[number] as number;
      }
    channel += line * lines;
    left += line;
  }
  return new Uint8Array(out.buffer);
}
