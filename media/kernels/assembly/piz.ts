/**
 * PIZ of OpenEXR: a wavelet over the values of each channel and a Huffman code over all of them. The form is that of "Technical Introduction to OpenEXR"
 * and of OpenEXR's ImfPizCompressor.cpp, ImfWav.cpp and ImfHuf.cpp (BSD-3-Clause, Copyright Contributors to the OpenEXR Project: docs/notices.md).
 * Lengths of codes are found by a rule of our own (two queues over symbols in the order of their counts, then of their numbers), so that bytes depend on the values alone.
 * media/formats/exr/kernel.ts says what lies where.
 */

/** Values of 16 bits, and one symbol behind the greatest of them for runs. */
const VALUES: i32 = 65536;
const SYMBOLS: i32 = VALUES + 1;
const BITMAP_BYTES: i32 = VALUES >> 3;
/** In the table of lengths: short runs of zeros, long ones, and where these begin. */
const SHORT_RUN: i32 = 59;
const LONG_RUN: i32 = 63;
const SHORTEST_LONG: i32 = 2 + LONG_RUN - SHORT_RUN;
const LONGEST_LONG: i32 = 255 + SHORTEST_LONG;
/** More bits than any code has: counts of a chunk add up to less than 2^32, and a code of length n asks for as many as the n-th Fibonacci number. */
const LENGTHS: i32 = 59;
/** Head of the Huffman part: first and last symbol, bytes of the table, bits of the data, and a word for later. */
const HUFFMAN_HEAD: i32 = 20;

/** Places in the scratch memory. */
const BITMAP: usize = 0;
const LUT: usize = BITMAP + 8192;
/** Counts of the symbols, u32. */
const COUNTS: usize = LUT + 2 * 65536;
/** Length of the code of each symbol, u8. */
const LENGTH: usize = COUNTS + 4 * 65600;
/** Codes, u64. */
const CODES: usize = LENGTH + 65600;
/** Symbols that are there, u32, twice: sorting goes from one to the other. */
const ORDER: usize = CODES + 8 * 65600;
const ORDER2: usize = ORDER + 4 * 65600;
/** Counts of inner nodes, and whose children each node is, u32. */
const NODES: usize = ORDER2 + 4 * 65600;
const PARENTS: usize = NODES + 4 * 65600;
const BUCKETS: usize = PARENTS + 8 * 65600;
const SCRATCH: i32 = i32(BUCKETS) + 4 * 256;

export function pizScratchBytes(): i32 {
  return SCRATCH;
}

/** Which values there are, as bits; 0 is always taken to be there. Gives the number of the greatest after `lut`. */
function tables(from: usize, count: i32, scratch: usize): i32 {
  const bitmap = scratch + BITMAP;
  memory.fill(bitmap, 0, BITMAP_BYTES);
  for (let i = 0; i < count; i++) {
    const value = u32(load<u16>(from + (usize(i) << 1)));
    const at = bitmap + (value >> 3);
    store<u8>(at, load<u8>(at) | u8(u32(1) << (value & 7)));
  }
  store<u8>(bitmap, load<u8>(bitmap) & 0xfe);
  const lut = scratch + LUT;
  let next = 0;
  for (let value = 0; value < VALUES; value++) {
    const there = value == 0 || (load<u8>(bitmap + (value >> 3)) & (1 << (value & 7))) != 0;
    store<u16>(lut + (usize(value) << 1), u16(there ? next : 0));
    if (there) next++;
  }
  return next - 1;
}

/** Sum and difference of two, for values of 14 bits at most, or modulo 2^16 for others. */
@inline
function low(a: i32, b: i32, small: bool): i32 {
  return small ? (i32(i16(a)) + i32(i16(b))) >> 1 : half16(a, b);
}
@inline
function half16(a: i32, b: i32): i32 {
  const offset = (a + 0x8000) & 0xffff;
  const mean = (offset + b) >> 1;
  return offset - b < 0 ? (mean + 0x8000) & 0xffff : mean;
}
@inline
function high(a: i32, b: i32, small: bool): i32 {
  return small ? i32(i16(a)) - i32(i16(b)) : (((a + 0x8000) & 0xffff) - b) & 0xffff;
}

/** One channel in place: `width` x `height` values, `most` the greatest of them all. */
@inline
function wavelet(at: usize, width: i32, height: i32, small: bool): void {
  const least = min(width, height);
  let p = 1;
  for (let p2 = 2; p2 <= least; p2 <<= 1) {
    const right = usize(p) << 1;
    const down = usize(p) * usize(width) << 1;
    let y = 0;
    for (; y <= height - p2; y += p2) {
      let x = 0;
      let px = at + (usize(y) * usize(width) << 1);
      for (; x <= width - p2; x += p2, px += right << 1) {
        const a = i32(load<u16>(px)), b = i32(load<u16>(px + right));
        const c = i32(load<u16>(px + down)), d = i32(load<u16>(px + down + right));
        const i00 = low(a, b, small), i01 = high(a, b, small);
        const i10 = low(c, d, small), i11 = high(c, d, small);
        store<u16>(px, u16(low(i00, i10, small)));
        store<u16>(px + down, u16(high(i00, i10, small)));
        store<u16>(px + right, u16(low(i01, i11, small)));
        store<u16>(px + down + right, u16(high(i01, i11, small)));
      }
      if (width & p) {
        const a = i32(load<u16>(px)), c = i32(load<u16>(px + down));
        store<u16>(px + down, u16(high(a, c, small)));
        store<u16>(px, u16(low(a, c, small)));
      }
    }
    if (height & p) {
      let px = at + (usize(y) * usize(width) << 1);
      for (let x = 0; x <= width - p2; x += p2, px += right << 1) {
        const a = i32(load<u16>(px)), b = i32(load<u16>(px + right));
        store<u16>(px + right, u16(high(a, b, small)));
        store<u16>(px, u16(low(a, b, small)));
      }
    }
    p = p2;
  }
}

/** Puts `count` symbols in the order of their counts; of equal counts the smaller symbol first. */
function sort(count: i32, scratch: usize): void {
  const counts = scratch + COUNTS;
  const buckets = scratch + BUCKETS;
  let from = scratch + ORDER, to = scratch + ORDER2;
  for (let shift = 0; shift < 32; shift += 8) {
    memory.fill(buckets, 0, 1024);
    for (let i = 0; i < count; i++) {
      const digit = (load<u32>(counts + (usize(load<u32>(from + (usize(i) << 2))) << 2)) >> shift) & 255;
      const bucket = buckets + (usize(digit) << 2);
      store<u32>(bucket, load<u32>(bucket) + 1);
    }
    let sum: u32 = 0;
    for (let digit = 0; digit < 256; digit++) {
      const bucket = buckets + (usize(digit) << 2);
      const here = load<u32>(bucket);
      store<u32>(bucket, sum);
      sum += here;
    }
    for (let i = 0; i < count; i++) {
      const symbol = load<u32>(from + (usize(i) << 2));
      const digit = (load<u32>(counts + (usize(symbol) << 2)) >> shift) & 255;
      const bucket = buckets + (usize(digit) << 2);
      const place = load<u32>(bucket);
      store<u32>(to + (usize(place) << 2), symbol);
      store<u32>(bucket, place + 1);
    }
    const other = from;
    from = to;
    to = other;
  }
}

/** Lengths of the codes of `count` symbols in ORDER: Huffman's, by two queues, the leaves in their order and the inner nodes as they were made. */
function lengths(count: i32, scratch: usize): void {
  const order = scratch + ORDER, counts = scratch + COUNTS, nodes = scratch + NODES, parents = scratch + PARENTS;
  const length = scratch + LENGTH;
  let leaf = 0, inner = 0;
  for (let made = 0; made < count - 1; made++) {
    let sum: u32 = 0;
    for (let child = 0; child < 2; child++) {
      const ofLeaf = leaf < count ? load<u32>(counts + (usize(load<u32>(order + (usize(leaf) << 2))) << 2)) : 0xffff_ffff;
      const ofInner = inner < made ? load<u32>(nodes + (usize(inner) << 2)) : 0xffff_ffff;
      // Where both are alike the leaf goes first, which keeps codes short.
      const takesLeaf = leaf < count && ofLeaf <= ofInner;
      sum += takesLeaf ? ofLeaf : ofInner;
      store<u32>(parents + (usize(takesLeaf ? leaf++ : count + inner++) << 2), u32(made));
    }
    store<u32>(nodes + (usize(made) << 2), sum);
  }
  // From the root down: NODES now holds depths.
  store<u32>(nodes + (usize(count - 2) << 2), 0);
  for (let node = count - 3; node >= 0; node--)
    store<u32>(nodes + (usize(node) << 2), load<u32>(nodes + (usize(load<u32>(parents + (usize(count + node) << 2))) << 2)) + 1);
  for (let i = 0; i < count; i++)
    store<u8>(
      length + usize(load<u32>(order + (usize(i) << 2))),
      u8(load<u32>(nodes + (usize(load<u32>(parents + (usize(i) << 2))) << 2)) + 1),
    );
}

/** Codes from their lengths: the longest begin at 0, of equal lengths the smaller symbol first. */
function canonical(first: i32, last: i32, scratch: usize): void {
  const length = scratch + LENGTH, codes = scratch + CODES, next = scratch + NODES;
  memory.fill(next, 0, 8 * LENGTHS);
  for (let symbol = first; symbol <= last; symbol++) {
    const at = next + (usize(load<u8>(length + usize(symbol))) << 3);
    store<u64>(at, load<u64>(at) + 1);
  }
  let code: u64 = 0;
  for (let bits = LENGTHS - 1; bits > 0; bits--) {
    const at = next + (usize(bits) << 3);
    const following = (code + load<u64>(at)) >> 1;
    store<u64>(at, code);
    code = following;
  }
  for (let symbol = first; symbol <= last; symbol++) {
    const bits = load<u8>(length + usize(symbol));
    if (bits == 0) continue;
    const at = next + (usize(bits) << 3);
    store<u64>(codes + (usize(symbol) << 3), load<u64>(at));
    store<u64>(at, load<u64>(at) + 1);
  }
}

/** Bits that wait for their byte, the first on top. */
let bits: u64 = 0;
let waiting: i32 = 0;
let out: usize = 0;

/** At most 32 of them. */
@inline
function put(count: i32, value: u64): void {
  bits = (bits << u64(count)) | value;
  waiting += count;
  while (waiting >= 8) {
    waiting -= 8;
    store<u8>(out++, u8(bits >> u64(waiting)));
  }
}
@inline
function putCode(symbol: i32, scratch: usize): void {
  const length = i32(load<u8>(scratch + LENGTH + usize(symbol)));
  const code = load<u64>(scratch + CODES + (usize(symbol) << 3));
  if (length > 32) {
    put(length - 32, code >> 32);
    put(32, code & 0xffff_ffff);
  } else put(length, code);
}
function finishBits(): void {
  if (waiting > 0) store<u8>(out++, u8(bits << u64(8 - waiting)));
  bits = 0;
  waiting = 0;
}

/** A symbol, and `more` times the same behind it: as a run where that is shorter. */
@inline
function putRun(symbol: i32, more: i32, run: i32, scratch: usize): void {
  const own = i32(load<u8>(scratch + LENGTH + usize(symbol)));
  if (own + i32(load<u8>(scratch + LENGTH + usize(run))) + 8 < own * more) {
    putCode(symbol, scratch);
    putCode(run, scratch);
    put(8, u64(more));
  } else for (let i = 0; i <= more; i++) putCode(symbol, scratch);
}

/** Codes of `count` words, as PIZ and DWA have them. Gives the size; 0 when it would reach `end`, behind which it writes as `pizChunk` does. `scratch`: of `pizScratchBytes`. */
export function huffman(from: usize, count: i32, scratch: usize, to: usize, end: usize): i32 {
  const counts = scratch + COUNTS, length = scratch + LENGTH, order = scratch + ORDER;
  memory.fill(counts, 0, 4 * SYMBOLS + 4);
  memory.fill(length, 0, SYMBOLS + 1);
  for (let i = 0; i < count; i++) {
    const at = counts + (usize(load<u16>(from + (usize(i) << 1))) << 2);
    store<u32>(at, load<u32>(at) + 1);
  }
  let first = 0;
  while (load<u32>(counts + (usize(first) << 2)) == 0) first++;
  let last = first, there = 0;
  for (let symbol = first; symbol < VALUES; symbol++)
    if (load<u32>(counts + (usize(symbol) << 2)) != 0) {
      store<u32>(order + (usize(there++) << 2), symbol);
      last = symbol;
    }
  // The symbol of runs.
  last++;
  store<u32>(counts + (usize(last) << 2), 1);
  store<u32>(order + (usize(there++) << 2), last);
  sort(there, scratch);
  lengths(there, scratch);
  canonical(first, last, scratch);
  out = to + HUFFMAN_HEAD;
  bits = 0;
  waiting = 0;
  for (let symbol = first; symbol <= last; symbol++) {
    const own = i32(load<u8>(length + usize(symbol)));
    if (own == 0) {
      let run = 1;
      while (symbol < last && run < LONGEST_LONG && load<u8>(length + usize(symbol + 1)) == 0) {
        symbol++;
        run++;
      }
      if (run >= SHORTEST_LONG) {
        put(6, LONG_RUN);
        put(8, u64(run - SHORTEST_LONG));
        continue;
      }
      if (run >= 2) {
        put(6, u64(SHORT_RUN + run - 2));
        continue;
      }
    }
    put(6, u64(own));
    if (out >= end) return 0;
  }
  finishBits();
  const table = i32(out - to) - HUFFMAN_HEAD;
  const data = out;
  let symbol = i32(load<u16>(from)), more = 0;
  for (let i = 1; i < count; i++) {
    const next = i32(load<u16>(from + (usize(i) << 1)));
    if (next == symbol && more < 255) more++;
    else {
      putRun(symbol, more, last, scratch);
      if (out >= end) return 0;
      symbol = next;
      more = 0;
    }
  }
  putRun(symbol, more, last, scratch);
  const written = (i32(out - data) << 3) + waiting;
  finishBits();
  store<i32>(to, first);
  store<i32>(to, last, 4);
  store<i32>(to, table, 8);
  store<i32>(to, written, 12);
  store<i32>(to, 0, 16);
  return i32(out - to);
}

/**
 * One chunk: y, size, data. `planes`: halves B, G, R of its lines, `width` x `count` of each, one channel behind the other; they are spoiled. `raw`: room for as many,
 * `scratch`: of `pizScratchBytes`. Gives the whole chunk's size. Writes up to 4096 bytes behind what it needs.
 */
export function pizChunk(planes: usize, width: i32, y: i32, count: i32, raw: usize, scratch: usize, to: usize): i32 {
  const values = 3 * width * count;
  const size = 2 * values;
  const line = width << 1;
  // As it is stored where nothing is won: each line with its channels one behind the other.
  for (let row = 0; row < count; row++)
    for (let channel = 0; channel < 3; channel++)
      memory.copy(raw + usize((row * 3 + channel) * line), planes + usize((channel * count + row) * line), line);
  const most = tables(planes, values, scratch);
  const bitmap = scratch + BITMAP;
  let least = BITMAP_BYTES - 1, greatest = 0;
  for (let i = 0; i < BITMAP_BYTES; i++)
    if (load<u8>(bitmap + usize(i)) != 0) {
      if (least > i) least = i;
      if (greatest < i) greatest = i;
    }
  const lut = scratch + LUT;
  for (let i = 0; i < values; i++) {
    const at = planes + (usize(i) << 1);
    store<u16>(at, load<u16>(lut + (usize(load<u16>(at)) << 1)));
  }
  const words = least <= greatest ? greatest - least + 1 : 0;
  // Least and greatest byte of the bitmap, the bytes between, and the size of what follows.
  const head = 8 + words;
  const at = to + 12;
  let packed = 0;
  if (head < size) {
    store<u16>(to + 8, u16(least));
    store<u16>(to + 8, u16(greatest), 2);
    memory.copy(at, bitmap + usize(least), words);
    for (let channel = 0; channel < 3; channel++) {
      const plane = planes + usize(channel * count * line);
      if (most < 1 << 14) wavelet(plane, width, count, true);
      else wavelet(plane, width, count, false);
    }
    packed = huffman(planes, values, scratch, at + usize(words) + 4, to + 8 + usize(size));
  }
  let whole = head + packed;
  if (packed == 0 || whole >= size) {
    memory.copy(to + 8, raw, size);
    whole = size;
  } else store<i32>(at + usize(words), packed);
  store<i32>(to, y);
  store<i32>(to, whole, 4);
  return whole + 8;
}
