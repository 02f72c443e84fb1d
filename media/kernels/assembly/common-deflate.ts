/**
 * A zlib stream (RFC 1950, RFC 1951) for sample planes behind a predictor: noise, in which short matches cost more than
 * the literals that they replace, with runs and repeated lines where the picture is drawn. So matches are of 8 bytes and
 * more (of 16 where literals are cheap), taken at once, and only where they are cheaper by the block's own statistics; each
 * block then has its own Huffman code, a fixed one or none, whichever is shortest. Integers only: the same bytes on every
 * machine.
 */

import { adler32 } from './common-adler32';
import { BUILDING_BYTES, assignCodes, buildCode } from './common-huffman';

/** A block's symbols are counted before its first bit is written; a stored block holds 65535 bytes at most. */
const BLOCK = 49_152;
const WINDOW: usize = 32_768;
const SHORTEST: usize = 8;
/** And of twice as many where literals are cheap: eighths of a bit that a distance new to the block costs, and its length. */
const LONG: usize = 2 * SHORTEST;
const NEW_DISTANCE: u64 = 176;
const LONGEST: usize = 258;
/** Where nothing repeats, ever fewer places are tried: every seventeenth in the end. */
const MOST_MISSES: u32 = 512;
/** Two bytes each, the place modulo 65536: small enough for the nearest cache, far enough for the window. */
const HASH_BITS = 13;
/** Four codes and seven waiting bits fit 64. */
const LITERAL_LIMIT = 14;
const DISTANCE_LIMIT = 14;
const LENGTHS_LIMIT = 7;
const LITERALS = 286;
const DISTANCES: i32 = 30;
const END = 256;

// Scratch, in order: hash table, sequences, histograms, sorting, codes.
const HASH: usize = 0;
const SEQUENCES: usize = HASH + (2 << HASH_BITS);
const COUNTS: usize = SEQUENCES + 8 * (BLOCK / 8 + 2);
const LITERAL_COUNTS: usize = COUNTS + 4 * 4 * 256;
const DISTANCE_COUNTS: usize = LITERAL_COUNTS + 4 * 288;
const LENGTHS_COUNTS: usize = DISTANCE_COUNTS + 4 * 32;
const BUILDING: usize = LENGTHS_COUNTS + 4 * 32;
const LITERAL_CODES: usize = BUILDING + BUILDING_BYTES;
const DISTANCE_CODES: usize = LITERAL_CODES + 4 * 288;
const LENGTHS_CODES: usize = DISTANCE_CODES + 4 * 32;
const FIXED_LITERALS: usize = LENGTHS_CODES + 4 * 32;
const FIXED_DISTANCES: usize = FIXED_LITERALS + 4 * 288;
const COSTS: usize = FIXED_DISTANCES + 4 * 32;
const CODE_LENGTHS: usize = COSTS + 4 * 256;
export const SCRATCH: i32 = <i32>(CODE_LENGTHS + 4 * 320);

/** Order in which the lengths of the code of lengths are sent (RFC 1951, 3.2.7). */
const LENGTHS_ORDER: usize = memory.data<u8>([16, 17, 18, 0, 8, 7, 9, 6, 10, 5, 11, 4, 12, 3, 13, 2, 14, 1, 15]);

let out: usize = 0;
let bits: u64 = 0;
let bitCount: u64 = 0;

@inline
function put(value: u32, count: u32): void {
  bits |= u64(value) << bitCount;
  bitCount += count;
}
/** Whole bytes go out; fewer than eight bits wait. */
@inline
function flush(): void {
  store<u64>(out, bits);
  out += usize(bitCount >> 3);
  bits >>= bitCount & ~7;
  bitCount &= 7;
}
/** A code as its bits (in sending order) below and its length in the upper half. */
@inline
function putCode(entry: u32): void {
  put(entry & 0xffff, entry >> 16);
}

/** Number of a length's symbol above 257 (RFC 1951, 3.2.5): lengths share a symbol by their leading bits. */
@inline
function lengthSymbol(length: u32): u32 {
  if (length == 258) return 28;
  const value = length - 3;
  if (value < 8) return value;
  const extra = 29 - clz(value);
  return ((extra + 1) << 2) + ((value >> extra) & 3);
}
@inline
function lengthExtra(symbol: u32): u32 {
  return symbol < 8 || symbol == 28 ? 0 : (symbol >> 2) - 1;
}
@inline
function distanceSymbol(distance: u32): u32 {
  const value = distance - 1;
  if (value < 4) return value;
  const extra = 30 - clz(value);
  return ((extra + 1) << 1) + ((value >> extra) & 1);
}
@inline
function distanceExtra(symbol: u32): u32 {
  return symbol < 4 ? 0 : (symbol >> 1) - 1;
}

/** Eighths of a bit of log2(value), cut off and interpolated; value is at least 1. */
@inline
function log2Eighths(value: u32): u32 {
  const whole = 31 - clz(value);
  return (whole << 3) + ((whole >= 3 ? value >> (whole - 3) : value << (3 - whole)) & 7);
}

/** Adds the bytes of [from, to) by value to four tables, since equal bytes follow one another. */
@inline
function addBytes(counts: usize, from: usize, to: usize): void {
  let at = from;
  for (; at + 4 <= to; at += 4) {
    const four = load<u32>(at);
    const a = counts + usize((four & 0xff) << 2);
    store<u32>(a, load<u32>(a) + 1);
    const b = counts + usize(((four >> 8) & 0xff) << 2);
    store<u32>(b, load<u32>(b, 1024) + 1, 1024);
    const c = counts + usize(((four >> 16) & 0xff) << 2);
    store<u32>(c, load<u32>(c, 2048) + 1, 2048);
    const d = counts + usize((four >> 24) << 2);
    store<u32>(d, load<u32>(d, 3072) + 1, 3072);
  }
  for (; at < to; at++) {
    const a = counts + (usize(load<u8>(at)) << 2);
    store<u32>(a, load<u32>(a) + 1);
  }
}
function countMatched(counts: usize, from: usize, to: usize): void {
  addBytes(counts, from, to);
}

/** Bytes of [from, to) by value, into COUNTS. */
function countBytes(scratch: usize, from: usize, to: usize): void {
  const counts = scratch + COUNTS;
  memory.fill(counts, 0, 4 * 4 * 256);
  addBytes(counts, from, to);
  for (let i: usize = 0; i < 1024; i += 16) {
    const sum = i32x4.add(i32x4.add(v128.load(counts + i), v128.load(counts + i, 1024)), i32x4.add(v128.load(counts + i, 2048), v128.load(counts + i, 3072)));
    v128.store(counts + i, sum);
  }
}

/** Where what repeats at this distance ends, `most` at most. */
@inline
function endOfMatch(from: usize, most: usize, distance: usize): usize {
  let end = from;
  while (end + 8 <= most) {
    const differing = load<u64>(end) ^ load<u64>(end - distance);
    if (differing != 0) return end + usize(ctz(differing) >> 3);
    end += 8;
  }
  while (end < most && load<u8>(end) == load<u8>(end - distance)) end++;
  return end;
}

/** Eighths of a bit that the literals of a match would cost, as far as it matters. */
@inline
function literalCost(costs: usize, from: usize, length: usize): u32 {
  let sum: u32 = 0;
  const end = from + (length < 64 ? length : 64);
  for (let at = from; at < end; at++) sum += load<u32>(costs + (usize(load<u8>(at)) << 2));
  return sum;
}

/**
 * Sequences of [from, to): literals and the match behind them, 8 bytes each. Counts their symbols. Gives the end of the
 * list; the last one is literals alone. `base` is the first byte that a match may reach back to.
 */
function sequencesOf(scratch: usize, base: usize, from: usize, to: usize): usize {
  const size = u32(to - from);
  const counts = scratch + COUNTS;
  const costs = scratch + COSTS;
  const literals = scratch + LITERAL_COUNTS;
  const distances = scratch + DISTANCE_COUNTS;
  const table = scratch + HASH;
  countBytes(scratch, from, to);
  const all = log2Eighths(size);
  let whole: u64 = 0;
  for (let i: usize = 0; i < 1024; i += 4) {
    const count = load<u32>(counts + i);
    const one = count == 0 ? all : all - log2Eighths(count);
    const cost: u32 = one < 8 ? 8 : one;
    store<u32>(costs + i, cost);
    whole += u64(count) * u64(cost);
  }
  const isCheap = whole * u64(SHORTEST) < u64(size) * NEW_DISTANCE;
  memory.copy(literals, counts, 1024);
  // From here on: bytes of matches, which are no literals.
  memory.fill(counts, 0, 4 * 4 * 256);
  memory.fill(literals + 1024, 0, 4 * 288 - 1024);
  memory.fill(distances, 0, 4 * 32);
  let list = scratch + SEQUENCES;
  let anchor = from;
  let at = from;
  let misses: u32 = 0;
  let last: usize = 1;
  while (at + LONG <= to) {
    const word = load<u64>(at);
    let distance: usize = 0;
    const slot = table + (usize((word * 0x9e37_79b1_85eb_ca87) >> (64 - HASH_BITS)) << 1);
    const place = at - base;
    const back = (place - usize(load<u16>(slot))) & 0xffff;
    store<u16>(slot, u16(place));
    // Looked at before it is asked whether they may be: what noise leaves in the table is in reach half of the time, which no processor foresees.
    const isBeside = load<u64>(at - 1) == word;
    const isAsBefore = load<u64>(at - last) == word;
    const isThere = load<u64>(at - back) == word;
    if (isBeside || isAsBefore || isThere) {
      if (isBeside && place > 0) distance = 1;
      else if (isAsBefore && place >= last) distance = last;
      else if (isThere && back - 1 < WINDOW && back <= place && (!isCheap || load<u64>(at, SHORTEST) == load<u64>(at - back, SHORTEST))) distance = back;
    }
    if (distance == 0) {
      at += 1 + usize(misses >> 5);
      if (misses < MOST_MISSES) misses++;
      continue;
    }
    let end = at + SHORTEST;
    const most = to - at < LONGEST ? to : at + LONGEST;
    end = endOfMatch(end, most, distance);
    while (at > anchor && at - distance > base && end - at < LONGEST && load<u8>(at - 1) == load<u8>(at - distance - 1)) at--;
    const length = end - at;
    const code = distanceSymbol(u32(distance));
    // What a match costs, in eighths of a bit: a length's code is taken to be of 8 bits, a distance's of 4, of 2 where it has come again.
    const price: u32 = 64 + (lengthExtra(lengthSymbol(u32(length))) << 3) + (distance == last ? 16 : 32) + (distanceExtra(code) << 3);
    if (literalCost(costs, at, length) <= price) {
      at = end - SHORTEST + 1;
      if (misses < MOST_MISSES) misses++;
      continue;
    }
    misses >>= 1;
    last = distance;
    store<u32>(list, u32(at - anchor));
    store<u32>(list, u32(length) << 16 | u32(distance - 1), 4);
    list += 8;
    const one = literals + usize((257 + lengthSymbol(u32(length))) << 2);
    store<u32>(one, load<u32>(one) + 1);
    const other = distances + usize(code << 2);
    store<u32>(other, load<u32>(other) + 1);
    if (distance == 1) {
      const literal = literals + (usize(load<u8>(at)) << 2);
      store<u32>(literal, load<u32>(literal) - u32(length));
    } else countMatched(counts, at, end);
    at = end;
    anchor = end;
  }
  for (let i: usize = 0; i < 1024; i += 16) {
    const matched = i32x4.add(i32x4.add(v128.load(counts + i), v128.load(counts + i, 1024)), i32x4.add(v128.load(counts + i, 2048), v128.load(counts + i, 3072)));
    v128.store(literals + i, i32x4.sub(v128.load(literals + i), matched));
  }
  store<u32>(list, u32(to - anchor));
  store<u32>(list, 0, 4);
  store<u32>(literals + END * 4, 1);
  return list + 8;
}

/** RFC 1951, 3.2.6. */
function fixedCodes(scratch: usize): void {
  const literals = scratch + FIXED_LITERALS;
  const next = scratch + BUILDING;
  for (let s: usize = 0; s < 288; s++) store<u32>(literals + (s << 2), u32(s < 144 ? 8 : s < 256 ? 9 : s < 280 ? 7 : 8) << 16);
  store<u32>(next, 0, 28);
  store<u32>(next, 0x30, 32);
  store<u32>(next, 0x190, 36);
  assignCodes(literals, 288, next);
  const distances = scratch + FIXED_DISTANCES;
  for (let s: usize = 0; s < 30; s++) store<u32>(distances + (s << 2), 5 << 16);
  store<u32>(next, 0, 20);
  assignCodes(distances, DISTANCES, next);
}

/** Bits of all symbols of the block by these codes, extra bits apart. */
function costOf(counts: usize, symbols: i32, codes: usize): u32 {
  let sum: u32 = 0;
  for (let s: usize = 0; s < usize(symbols); s++) sum += load<u32>(counts + (s << 2)) * (load<u32>(codes + (s << 2)) >> 16);
  return sum;
}

function extraBits(scratch: usize): u32 {
  let sum: u32 = 0;
  for (let s: u32 = 0; s < 29; s++) sum += load<u32>(scratch + LITERAL_COUNTS + usize((257 + s) << 2)) * lengthExtra(s);
  for (let s: u32 = 0; s < 30; s++) sum += load<u32>(scratch + DISTANCE_COUNTS + usize(s << 2)) * distanceExtra(s);
  return sum;
}

/** The two codes' lengths as symbols of the code of lengths (RFC 1951, 3.2.7), with their repeat counts in the upper half. Counts them; gives how many. */
function packLengths(scratch: usize, literals: i32, distances: i32): i32 {
  const list = scratch + CODE_LENGTHS;
  const counts = scratch + LENGTHS_COUNTS;
  memory.fill(counts, 0, 4 * 32);
  const all = literals + distances;
  let n = 0;
  let i = 0;
  while (i < all) {
    const length = lengthAt(scratch, literals, i);
    let end = i + 1;
    while (end < all && lengthAt(scratch, literals, end) == length) end++;
    let run = end - i;
    if (length == 0) {
      while (run >= 3) {
        const part = run < 138 ? run : 138;
        n = packOne(list, counts, n, part > 10 ? 18 : 17, u32(part > 10 ? part - 11 : part - 3));
        run -= part;
      }
    } else {
      n = packOne(list, counts, n, length, 0);
      run--;
      while (run >= 3) {
        const part = run < 6 ? run : 6;
        n = packOne(list, counts, n, 16, u32(part - 3));
        run -= part;
      }
    }
    for (; run > 0; run--) n = packOne(list, counts, n, length, 0);
    i = end;
  }
  return n;
}
@inline
function lengthAt(scratch: usize, literals: i32, index: i32): u32 {
  const at = index < literals ? scratch + LITERAL_CODES + (usize(index) << 2) : scratch + DISTANCE_CODES + (usize(index - literals) << 2);
  return load<u32>(at) >> 16;
}
@inline
function packOne(list: usize, counts: usize, n: i32, symbol: u32, repeat: u32): i32 {
  store<u32>(list + (usize(n) << 2), repeat << 16 | symbol);
  const at = counts + usize(symbol << 2);
  store<u32>(at, load<u32>(at) + 1);
  return n + 1;
}
@inline
function repeatBits(symbol: u32): u32 {
  return symbol == 16 ? 2 : symbol == 17 ? 3 : symbol == 18 ? 7 : 0;
}

/** Symbols up to the last that has a code. */
function usedSymbols(codes: usize, symbols: i32, least: i32): i32 {
  while (symbols > least && load<u32>(codes + (usize(symbols - 1) << 2)) == 0) symbols--;
  return symbols;
}

/** The bits that wait are kept by the function itself meanwhile: a variable of the module is one in memory. */
function putSequences(scratch: usize, from: usize, list: usize, listEnd: usize, literals: usize, distances: usize): void {
  let at = from;
  let to = out;
  let waiting = bits;
  let count = bitCount;
  for (; list < listEnd; list += 8) {
    const end = at + usize(load<u32>(list));
    for (; at + 4 <= end; at += 4) {
      const four = load<u32>(at);
      const a = load<u32>(literals + usize((four & 0xff) << 2));
      const b = load<u32>(literals + usize(((four >> 8) & 0xff) << 2));
      const c = load<u32>(literals + usize(((four >> 16) & 0xff) << 2));
      const d = load<u32>(literals + usize((four >> 24) << 2));
      // Two by two, so that they need not wait for one another.
      const sizeA = a >> 16;
      const sizeC = c >> 16;
      const ab = u64(a & 0xffff) | (u64(b & 0xffff) << u64(sizeA));
      const cd = u64(c & 0xffff) | (u64(d & 0xffff) << u64(sizeC));
      const sizeAb = sizeA + (b >> 16);
      waiting |= (ab | (cd << u64(sizeAb))) << count;
      count += u64(sizeAb + sizeC + (d >> 16));
      store<u64>(to, waiting);
      to += usize(count >> 3);
      waiting >>= count & ~7;
      count &= 7;
    }
    for (; at < end; at++) {
      const one = load<u32>(literals + (usize(load<u8>(at)) << 2));
      waiting |= u64(one & 0xffff) << count;
      count += u64(one >> 16);
      store<u64>(to, waiting);
      to += usize(count >> 3);
      waiting >>= count & ~7;
      count &= 7;
    }
    const match = load<u32>(list, 4);
    if (match == 0) continue;
    out = to;
    bits = waiting;
    bitCount = count;
    putMatch(match, literals, distances);
    to = out;
    waiting = bits;
    count = bitCount;
    at += usize(match >> 16);
  }
  out = to;
  bits = waiting;
  bitCount = count;
  putCode(load<u32>(literals + END * 4));
  flush();
}

@inline
function putMatch(match: u32, literals: usize, distances: usize): void {
  const length = match >> 16;
  const distance = (match & 0xffff) + 1;
  const symbol = lengthSymbol(length);
  const extra = lengthExtra(symbol);
  putCode(load<u32>(literals + usize((257 + symbol) << 2)));
  put((length - 3) & ((1 << extra) - 1), extra);
  const far = distanceSymbol(distance);
  const farExtra = distanceExtra(far);
  putCode(load<u32>(distances + usize(far << 2)));
  put((distance - 1) & ((1 << farExtra) - 1), farExtra);
  flush();
}

/** One block in its shortest form. False, and nothing written, when it would end behind `end`. */
function block(scratch: usize, base: usize, from: usize, to: usize, final: u32, end: usize): bool {
  const listEnd = sequencesOf(scratch, base, from, to);
  const list = scratch + SEQUENCES;
  const literalCounts = scratch + LITERAL_COUNTS;
  const distanceCounts = scratch + DISTANCE_COUNTS;
  const literalCodes = scratch + LITERAL_CODES;
  const distanceCodes = scratch + DISTANCE_CODES;
  const lengthsCodes = scratch + LENGTHS_CODES;
  const size = u32(to - from);
  const extra = extraBits(scratch);
  const fixed = 3 + extra + costOf(literalCounts, LITERALS, scratch + FIXED_LITERALS) + costOf(distanceCounts, DISTANCES, scratch + FIXED_DISTANCES);
  buildCode(scratch + BUILDING, literalCounts, LITERALS, LITERAL_LIMIT, literalCodes);
  buildCode(scratch + BUILDING, distanceCounts, DISTANCES, DISTANCE_LIMIT, distanceCodes);
  const literals = usedSymbols(literalCodes, LITERALS, 257);
  const distances = usedSymbols(distanceCodes, DISTANCES, 1);
  const packed = packLengths(scratch, literals, distances);
  buildCode(scratch + BUILDING, scratch + LENGTHS_COUNTS, 19, LENGTHS_LIMIT, lengthsCodes);
  let sent: u32 = 19;
  while (sent > 4 && load<u32>(lengthsCodes + (usize(load<u8>(LENGTHS_ORDER + usize(sent - 1))) << 2)) == 0) sent--;
  let dynamic = 3 + 14 + 3 * sent + extra + costOf(literalCounts, LITERALS, literalCodes) + costOf(distanceCounts, DISTANCES, distanceCodes) + costOf(scratch + LENGTHS_COUNTS, 19, lengthsCodes);
  for (let s: u32 = 16; s < 19; s++) dynamic += load<u32>(scratch + LENGTHS_COUNTS + usize(s << 2)) * repeatBits(s);
  const stored = ((3 + u32(bitCount) + 7) & ~7) - u32(bitCount) + 32 + 8 * size;
  const fewest = min(stored, min(fixed, dynamic));
  if (out + usize((u32(bitCount) + fewest + 7) >> 3) > end) return false;
  if (stored == fewest) {
    put(final, 3);
    if ((bitCount & 7) != 0) bitCount += 8 - (bitCount & 7);
    flush();
    put(size | (~size << 16), 32);
    flush();
    memory.copy(out, from, size);
    out += usize(size);
  } else if (fixed == fewest) {
    put(final | 2, 3);
    putSequences(scratch, from, list, listEnd, scratch + FIXED_LITERALS, scratch + FIXED_DISTANCES);
  } else {
    put(final | 4, 3);
    put(u32(literals - 257), 5);
    put(u32(distances - 1), 5);
    put(sent - 4, 4);
    flush();
    for (let i: u32 = 0; i < sent; i++) {
      put(load<u32>(lengthsCodes + (usize(load<u8>(LENGTHS_ORDER + usize(i))) << 2)) >> 16, 3);
      if ((i & 15) == 15) flush();
    }
    flush();
    for (let i = 0; i < packed; i++) {
      const entry = load<u32>(scratch + CODE_LENGTHS + (usize(i) << 2));
      const symbol = entry & 0xffff;
      putCode(load<u32>(lengthsCodes + usize(symbol << 2)));
      put(entry >> 16, repeatBits(symbol));
      flush();
    }
    putSequences(scratch, from, list, listEnd, literalCodes, distanceCodes);
  }
  return true;
}

/** See `zlib` in exr.ts. */
export function deflate(from: usize, size: i32, section: i32, scratch: usize, to: usize, limit: i32): i32 {
  const end = to + usize(limit) - 1;
  if (limit < 8) return 0;
  memory.fill(scratch + HASH, 0, 2 << HASH_BITS);
  fixedCodes(scratch);
  // Deflate, window of 32 KiB, no dictionary; the check bits make the pair a multiple of 31.
  store<u16>(to, 0x0178);
  out = to + 2;
  bits = 0;
  bitCount = 0;
  let at = from;
  for (let part = 0; part < 2; part++) {
    const partEnd = part == 0 ? from + usize(section) : from + usize(size);
    if (part == 0 && (section <= 0 || section >= size)) continue;
    const last: u32 = partEnd == from + usize(size) ? 1 : 0;
    // Blocks of one part are of one size, but for the last bytes; an empty stream has one empty block.
    let blocks = (u32(partEnd - at) + BLOCK - 1) / BLOCK;
    if (blocks == 0) blocks = 1;
    const step = (u32(partEnd - at) + blocks - 1) / blocks;
    for (let i: u32 = 1; i <= blocks; i++) {
      const stop = i == blocks ? partEnd : at + usize(step);
      if (!block(scratch, from, at, stop, i == blocks ? last : 0, end - 4)) return 0;
      at = stop;
    }
  }
  if (bitCount > 0) {
    bitCount = 8;
    flush();
  }
  store<u32>(out, bswap(adler32(from, size)));
  return i32(out + 4 - to);
}
