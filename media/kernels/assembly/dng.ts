/**
 * Code values out of the bytes of DNG files: lossless JPEG (ITU-T T.81, process 14) and packed samples. media/formats/dng/kernel.ts says
 * what lies where; media/formats/dng/lossless-jpeg.ts and packed.ts say the same in plain TypeScript.
 */

/** Bits that the first table is asked with. */
const WINDOW: i32 = 12;
const ENTRIES: i32 = 1 << WINDOW;
/** Behind the entries: for each length 0 to 16 the code after its last, aligned to 16 bits, and what to add for the place of its value; then the values. */
const ENDS: usize = usize(ENTRIES) * 4;
const PLACES: usize = ENDS + 17 * 4;
const VALUES: usize = PLACES + 17 * 4;

/**
 * An entry: low byte the bits to move on by; bits 8 and 9 its kind; above them a value. Kinds: 0 the difference itself, 1 its length in bits, which
 * follow, 2 a code longer than the window, or none.
 */
const LENGTH_FOLLOWS: i32 = 1 << 8;
const LONGER: i32 = 2 << 8;

/** Bytes of one table. */
export function tableBytes(): i32 {
  return i32(VALUES) + 256;
}

@inline
function extended(bits: i32, size: i32): i32 {
  return bits < 1 << (size - 1) ? bits - (1 << size) + 1 : bits;
}

/** `counts`: 16 bytes, how many codes of 1 to 16 bits; `values`: what they stand for, 0 to 16 each. */
export function buildTable(counts: usize, values: usize, table: usize): void {
  for (let at: usize = 0; at < ENDS; at += 4) store<i32>(table + at, LONGER);
  let code: i32 = 0;
  let next: i32 = 0;
  for (let length = 1; length <= 16; length++) {
    const count = i32(load<u8>(counts + usize(length - 1)));
    store<i32>(table + PLACES + (usize(length) << 2), next - code);
    for (let each = 0; each < count; each++) {
      const size = i32(load<u8>(values + usize(next)));
      store<u8>(table + VALUES + usize(next), u8(size));
      if (length <= WINDOW) {
        const free = WINDOW - length;
        const first = code << free;
        for (let rest = 0; rest < 1 << free; rest++) {
          let entry: i32;
          if (size == 0) entry = length;
          else if (size == 16) entry = (32768 << 10) | length;
          else if (size <= free) entry = (extended(rest >> (free - size), size) << 10) | (length + size);
          else entry = (size << 10) | LENGTH_FOLLOWS | length;
          store<i32>(table + (usize(first + rest) << 2), entry);
        }
      }
      code++;
      next++;
    }
    store<i32>(table + ENDS + (usize(length) << 2), code << (16 - length));
    code <<= 1;
  }
}

/** State of the bits that are read: the next ones are the highest of `held`. */
let held: u64 = 0;
let ready: i32 = 0;
let from: usize = 0;
let limit: usize = 0;
/** Where reading failed: 0 nowhere, 1 bits that are no code, 2 behind the end. */
let failure: i32 = 0;

/** What no entry of the window says: longer codes, and differences whose bits lie beyond it. */
function slowDifference(table: usize, entry: i32): i32 {
  let length = entry & 0xff;
  let size = entry >> 10;
  if ((entry & LONGER) != 0) {
    const next = i32(held >> 48);
    length = WINDOW + 1;
    while (length <= 16 && next >= load<i32>(table + ENDS + (usize(length) << 2))) length++;
    if (length > 16) {
      failure = 1;
      return 0;
    }
    size = i32(load<u8>(table + VALUES + usize((next >> (16 - length)) + load<i32>(table + PLACES + (usize(length) << 2)))));
  }
  held <<= u64(length);
  ready -= length;
  if (size == 0) return 0;
  if (size == 16) return 32768;
  const bits = i32(held >> u64(64 - size));
  held <<= u64(size);
  ready -= size;
  return extended(bits, size);
}

@inline
function difference(table: usize): i32 {
  if (ready < 32) {
    if (from >= limit) {
      failure = 2;
      return 0;
    }
    held |= u64(bswap<u32>(load<u32>(from))) << u64(32 - ready);
    from += 4;
    ready += 32;
  }
  const entry = load<i32>(table + usize((held >> u64(64 - WINDOW)) << 2));
  if ((entry & (LENGTH_FOLLOWS | LONGER)) != 0) return slowDifference(table, entry);
  held <<= u64(entry & 0xff);
  ready -= entry & 0xff;
  return entry >> 10;
}

@inline
function predicted(predictor: i32, left: i32, above: i32, corner: i32): i32 {
  if (predictor == 2) return above;
  if (predictor == 3) return corner;
  if (predictor == 4) return left + above - corner;
  if (predictor == 5) return left + ((above - corner) >> 1);
  if (predictor == 6) return above + ((left - corner) >> 1);
  return (left + above) >> 1;
}

/** The rest of a line, each sample predicted from the one of its component to the left. */
function leftLine(out: usize, end: usize, components: i32, tables: usize): void {
  const first = load<u32>(tables);
  if (components == 1) {
    let left = i32(load<u16>(out - 2));
    for (; out < end; out += 2) {
      left = (left + difference(first)) & 0xffff;
      store<u16>(out, u16(left));
    }
  } else if (components == 2) {
    const second = load<u32>(tables, 4);
    let a = i32(load<u16>(out - 4));
    let b = i32(load<u16>(out - 2));
    for (; out < end; out += 4) {
      a = (a + difference(first)) & 0xffff;
      b = (b + difference(second)) & 0xffff;
      store<u32>(out, u32(a) | (u32(b) << 16));
    }
  } else {
    const back = usize(components) << 1;
    for (; out < end; ) {
      for (let component = 0; component < components; component++, out += 2) {
        store<u16>(out, u16(i32(load<u16>(out - back)) + difference(load<u32>(tables + (usize(component) << 2)))));
      }
    }
  }
}

/** The rest of a line by predictors 2 to 7. */
function mixedLine(predictor: i32, out: usize, end: usize, lineBytes: usize, components: i32, tables: usize): void {
  const back = usize(components) << 1;
  for (; out < end; ) {
    for (let component = 0; component < components; component++, out += 2) {
      const guess = predicted(predictor, i32(load<u16>(out - back)), i32(load<u16>(out - lineBytes)), i32(load<u16>(out - lineBytes - back)));
      store<u16>(out, u16(guess + difference(load<u32>(tables + (usize(component) << 2)))));
    }
  }
}

/**
 * One part between restart markers, `lines` of `width` samples in all their components, from `bytes` without stuffing, behind which
 * 16 zero bytes lie. `start`: the first sample's prediction; `tables`: the address of each component's table, 4 bytes each.
 * Answers the line in which reading failed, counted from 1; 0: none did. Then `consumed` says how many bits were read.
 */
export function decodePart(bytes: usize, count: i32, tables: usize, components: i32, width: i32, lines: i32, predictor: i32, start: i32, out: usize): i32 {
  held = 0;
  ready = 0;
  from = bytes;
  limit = bytes + usize(count) + 8;
  failure = 0;
  const lineBytes = usize(width) << 1;
  for (let line = 0; line < lines; line++) {
    const end = out + lineBytes;
    let at = out;
    for (let component = 0; component < components; component++, at += 2) {
      const guess = line == 0 ? start : i32(load<u16>(at - lineBytes));
      store<u16>(at, u16(guess + difference(load<u32>(tables + (usize(component) << 2)))));
    }
    if (line == 0 || predictor == 1) leftLine(at, end, components, tables);
    else mixedLine(predictor, at, end, lineBytes, components, tables);
    if (failure == 0 && consumed(bytes) > (i64(count) << 3)) failure = 2;
    if (failure != 0) return line + 1;
    out = end;
  }
  return 0;
}

/** Bits read since `bytes`. */
export function consumed(bytes: usize): i64 {
  return (i64(from - bytes) << 3) - i64(ready);
}

/** Why `decodePart` failed: 1 bits that are no code, 2 behind the end. */
export function reason(): i32 {
  return failure;
}

/** Where the marker is that `unstuff` stopped at, its 0xff; `end` when there was none. */
let stopped: usize = 0;
export function stoppedAt(): usize {
  return stopped;
}

/** Copies coded bytes up to the next marker and leaves out stuffed zeros and fill bytes; answers how many there are. May write 15 bytes more. */
export function unstuff(at: usize, end: usize, to: usize): i32 {
  const first = to;
  const marks = i8x16.splat(-1);
  while (at < end) {
    if (at + 16 <= end) {
      const sixteen = v128.load(at);
      v128.store(to, sixteen);
      const found = i8x16.bitmask(i8x16.eq(sixteen, marks));
      const clean = found == 0 ? 16 : ctz(found);
      at += usize(clean);
      to += usize(clean);
      if (found == 0) continue;
    }
    const byte = load<u8>(at);
    if (byte != 0xff) {
      store<u8>(to++, byte);
      at++;
      continue;
    }
    if (at + 1 >= end) break;
    const next = load<u8>(at + 1);
    if (next == 0) {
      store<u8>(to++, 0xff);
      at += 2;
    } else if (next == 0xff) at++;
    else {
      stopped = at;
      return i32(to - first);
    }
  }
  stopped = end;
  return i32(to - first);
}

/** Rows of `bytes` each, from rows that lie `fromStride` bytes apart to rows that lie `toStride` apart. */
export function copyRows(at: usize, fromStride: i32, to: usize, toStride: i32, bytes: i32, rows: i32): void {
  for (let row = 0; row < rows; row++) {
    memory.copy(to, at, usize(bytes));
    at += usize(fromStride);
    to += usize(toStride);
  }
}

/** The largest of so many samples. */
export function largest(at: usize, count: i32): i32 {
  let most = i16x8.splat(0);
  const end = at + (usize(count) << 1);
  for (; at + 16 <= end; at += 16) most = i16x8.max_u(most, v128.load(at));
  let one: i32 = 0;
  for (; at < end; at += 2) one = max(one, i32(load<u16>(at)));
  for (let lane = 0; lane < 8; lane++) {
    one = max(one, i32(i16x8.extract_lane_u(most, 0)));
    most = i8x16.shuffle(most, most, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 0, 1);
  }
  return one;
}

/** Words of 16 bits, big end first. */
export function swapWords(at: usize, count: i32, to: usize): void {
  const end = at + (usize(count) << 1);
  for (; at + 16 <= end; at += 16, to += 16) {
    const words = v128.load(at);
    v128.store(to, i8x16.shuffle(words, words, 1, 0, 3, 2, 5, 4, 7, 6, 9, 8, 11, 10, 13, 12, 15, 14));
  }
  for (; at < end; at += 2, to += 2) store<u16>(to, bswap<u16>(load<u16>(at)));
}

/** Eight bits each. */
export function widenBytes(at: usize, count: i32, to: usize): void {
  let x = 0;
  for (; x + 8 <= count; x += 8) v128.store(to + (usize(x) << 1), v128.load8x8_u(at + usize(x)));
  for (; x < count; x++) store<u16>(to + (usize(x) << 1), u16(load<u8>(at + usize(x))));
}

/** One row of samples of 9 to 15 bits, the highest bit first. Reads up to 15 bytes behind the row. */
export function unpackRow(at: usize, bits: i32, count: i32, to: usize): void {
  const end = to + (usize(count) << 1);
  if (bits == 12) {
    // Two samples in three bytes; eight in twelve.
    for (; to + 16 <= end; to += 16, at += 12) {
      const twelve = v128.load(at);
      const high = i8x16.shuffle(twelve, twelve, 1, 0, 2, 1, 4, 3, 5, 4, 7, 6, 8, 7, 10, 9, 11, 10);
      const even = i16x8.shr_u(high, 4);
      const odd = v128.and(high, i16x8.splat(0x0fff));
      v128.store(to, v128.bitselect(odd, even, i32x4.splat(0xffff0000)));
    }
  }
  let word: u64 = 0;
  let left: i32 = 0;
  const mask = (1 << bits) - 1;
  for (; to < end; to += 2) {
    if (left < bits) {
      word = (word << 32) | u64(bswap<u32>(load<u32>(at)));
      at += 4;
      left += 32;
    }
    left -= bits;
    store<u16>(to, u16(i32(word >> u64(left)) & mask));
  }
}
