/**
 * The writer of OpenEXR, from float32 planes to chunks of a file: rounding to half, the order of a scan line, the byte
 * split and predictor of ZIP, and zlib streams (common-deflate.ts, with common-huffman.ts and common-adler32.ts). media/formats/exr/kernel.ts says what lies where.
 */
import { SCRATCH, deflate } from './common-deflate';

const NAN_ABOVE: i32 = 0x7f80_0000;
/** 65504, the largest half, as float32 bits. */
const LARGEST: i32 = 0x477f_e000;
/** 2^-14, the smallest normal half. */
const SMALLEST_NORMAL: i32 = 0x3880_0000;
/** A float whose last place is the last place of subnormal halves, 2^-24: adding it rounds there, to nearest even. */
const SUBNORMAL_PLACE: i32 = 0x3f00_0000;

let nanCount: v128 = i32x4.splat(0);
let clamped: v128 = i32x4.splat(0);
/** Of those, the negative ones. */
let clampedBelow: v128 = i32x4.splat(0);

/** Four floats to four halves in 32-bit lanes: nearest, ties to even; beyond the largest: the largest; no number: 0. Counts both. */
@inline
function half4(values: v128): v128 {
  const magnitude = v128.and(values, i32x4.splat(0x7fff_ffff));
  const none = i32x4.gt_s(magnitude, i32x4.splat(NAN_ABOVE));
  const beyond = v128.andnot(i32x4.gt_s(magnitude, i32x4.splat(LARGEST)), none);
  nanCount = i32x4.sub(nanCount, none);
  clamped = i32x4.sub(clamped, beyond);
  clampedBelow = i32x4.sub(clampedBelow, v128.and(beyond, i32x4.shr_s(values, 31)));
  const held = i32x4.min_s(magnitude, i32x4.splat(LARGEST));
  // Half of the last place less one, and one more where the kept bits are odd: then cut off. The exponent's bias changes by 112.
  const odd = v128.and(i32x4.shr_u(held, 13), i32x4.splat(1));
  const normal = i32x4.shr_u(i32x4.add(i32x4.add(held, i32x4.splat(0xfff - (112 << 23))), odd), 13);
  const subnormal = i32x4.sub(f32x4.add(held, i32x4.splat(SUBNORMAL_PLACE)), i32x4.splat(SUBNORMAL_PLACE));
  const small = i32x4.lt_s(held, i32x4.splat(SMALLEST_NORMAL));
  const sign = v128.and(i32x4.shr_u(values, 16), i32x4.splat(0x8000));
  return v128.andnot(v128.or(v128.bitselect(subnormal, normal, small), sign), none);
}

/** Whether a value of eight is no normal half: below 2^-14, beyond the largest, or no number. */
@inline
function anyUnusual(low: v128, high: v128): bool {
  const beyond = i32x4.gt_s(i32x4.max_s(low, high), i32x4.splat(LARGEST));
  return v128.any_true(v128.or(beyond, i32x4.lt_s(i32x4.min_s(low, high), i32x4.splat(SMALLEST_NORMAL))));
}

/** Four magnitudes that are normal halves, as `half4` rounds them; without their sign. */
@inline
function normal4(magnitude: v128): v128 {
  const odd = v128.and(i32x4.shr_u(magnitude, 13), i32x4.splat(1));
  return i32x4.shr_u(i32x4.add(i32x4.add(magnitude, i32x4.splat(0xfff - (112 << 23))), odd), 13);
}

/** One channel of one line. Writes exactly `width` halves. */
function halfLine(from: usize, width: i32, to: usize): void {
  let x = 0;
  for (; x + 8 <= width; x += 8) {
    const at = from + (usize(x) << 2);
    const low = v128.load(at), high = v128.load(at, 16);
    const lowSize = v128.and(low, i32x4.splat(0x7fff_ffff)), highSize = v128.and(high, i32x4.splat(0x7fff_ffff));
    let eight: v128;
    if (anyUnusual(lowSize, highSize)) eight = i16x8.narrow_i32x4_u(half4(low), half4(high));
    else {
      // As whole numbers, negative floats are so far below zero that saturation leaves their sign.
      const signs = v128.and(i16x8.narrow_i32x4_s(low, high), i16x8.splat(-0x8000));
      eight = v128.or(i16x8.narrow_i32x4_u(normal4(lowSize), normal4(highSize)), signs);
    }
    v128.store(to + (usize(x) << 1), eight);
  }
  for (; x < width; x++) {
    const one = half4(v128.load32_zero(from + (usize(x) << 2)));
    store<u16>(to + (usize(x) << 1), u16(i32x4.extract_lane(one, 0)));
  }
}

/** Before a frame. */
export function clearCounts(): void {
  nanCount = i32x4.splat(0);
  clamped = i32x4.splat(0);
  clampedBelow = i32x4.splat(0);
}
/** Values since `clearCounts` that were no numbers and became 0. */
export function countNans(): i32 {
  return i32x4.extract_lane(nanCount, 0) + i32x4.extract_lane(nanCount, 1) + i32x4.extract_lane(nanCount, 2) + i32x4.extract_lane(nanCount, 3);
}
/** Values since `clearCounts` whose magnitude was above 65504 and became that. */
export function countClamped(): i32 {
  return i32x4.extract_lane(clamped, 0) + i32x4.extract_lane(clamped, 1) + i32x4.extract_lane(clamped, 2) + i32x4.extract_lane(clamped, 3);
}
/** And of those the negative ones, which became -65504. */
export function countClampedBelow(): i32 {
  return i32x4.extract_lane(clampedBelow, 0) + i32x4.extract_lane(clampedBelow, 1) + i32x4.extract_lane(clampedBelow, 2) + i32x4.extract_lane(clampedBelow, 3);
}

/** `count` float32 values to halves. */
export function halves(from: usize, count: i32, to: usize): void {
  halfLine(from, count, to);
}

/** Lines as a chunk holds them: for each the channels B, G, R. The addresses are of the first line. */
function lines(r: usize, g: usize, b: usize, width: i32, count: i32, to: usize): void {
  const step = usize(width) << 2;
  const halfStep = usize(width) << 1;
  for (let y = 0; y < count; y++) {
    const skip = usize(y) * step;
    halfLine(b + skip, width, to);
    halfLine(g + skip, width, to + halfStep);
    halfLine(r + skip, width, to + 2 * halfStep);
    to += 3 * halfStep;
  }
}

/** Chunks without compression, one a line: y, size, values. */
export function rawChunks(r: usize, g: usize, b: usize, width: i32, firstY: i32, count: i32, to: usize): void {
  const step = usize(width) << 2;
  const size = width * 6;
  for (let y = 0; y < count; y++) {
    store<i32>(to, firstY + y);
    store<i32>(to, size, 4);
    const skip = usize(y) * step;
    lines(r + skip, g + skip, b + skip, width, 1, to + 8);
    to += 8 + usize(size);
  }
}

@inline
function evenBytes(a: v128, b: v128): v128 {
  return i8x16.shuffle(a, b, 0, 2, 4, 6, 8, 10, 12, 14, 16, 18, 20, 22, 24, 26, 28, 30);
}
@inline
function oddBytes(a: v128, b: v128): v128 {
  return i8x16.shuffle(a, b, 1, 3, 5, 7, 9, 11, 13, 15, 17, 19, 21, 23, 25, 27, 29, 31);
}
/** Each byte less the one before it, plus 128; the one before the first is the last of `before`. */
@inline
function predicted(before: v128, now: v128): v128 {
  return i8x16.add(i8x16.sub(now, i8x16.shuffle(before, now, 15, 16, 17, 18, 19, 20, 21, 22, 23, 24, 25, 26, 27, 28, 29, 30)), i8x16.splat(-128));
}

/** `size` bytes, an even number: those at even places, then those at odd ones, each as its difference from the one before. */
export function splitAndPredict(from: usize, size: i32, to: usize): void {
  if (size < 2) return;
  const half = usize(size) >> 1;
  const odds = to + half;
  let even = i8x16.splat(0);
  // What stands in front of the first odd byte is the last even one.
  let odd = i8x16.splat(load<i8>(from + usize(size) - 2));
  const first = load<u8>(from);
  let at: usize = 0;
  for (; at + 16 <= half; at += 16) {
    const a = v128.load(from + 2 * at);
    const b = v128.load(from + 2 * at, 16);
    const nowEven = evenBytes(a, b);
    const nowOdd = oddBytes(a, b);
    v128.store(to + at, predicted(even, nowEven));
    v128.store(odds + at, predicted(odd, nowOdd));
    even = nowEven;
    odd = nowOdd;
  }
  let lastEven = i8x16.extract_lane_u(even, 15);
  let lastOdd = i8x16.extract_lane_u(odd, 15);
  for (; at < half; at++) {
    const nowEven = load<u8>(from + 2 * at);
    const nowOdd = load<u8>(from + 2 * at, 1);
    store<u8>(to + at, nowEven - lastEven + 128);
    store<u8>(odds + at, nowOdd - lastOdd + 128);
    lastEven = nowEven;
    lastOdd = nowOdd;
  }
  store<u8>(to, first);
}

/** Bytes that `zlib` and `zipChunk` need at `scratch`. */
export function scratchBytes(): i32 {
  return SCRATCH;
}

/**
 * A zlib stream (RFC 1950) of `size` bytes, of which the first `section` are of another kind than the rest. Gives its
 * size; 0 when it would not be smaller than `limit`. Reads up to 8 bytes behind the source, writes up to 8 behind its own.
 */
export function zlib(from: usize, size: i32, section: i32, scratch: usize, to: usize, limit: i32): i32 {
  return deflate(from, size, section, scratch, to, limit);
}

/** One ZIP chunk: y, size, data. `raw` and `split` have room for its lines as halves and 64 bytes more. Gives the whole chunk's size. */
export function zipChunk(r: usize, g: usize, b: usize, width: i32, y: i32, count: i32, raw: usize, split: usize, scratch: usize, to: usize): i32 {
  const size = width * count * 6;
  lines(r, g, b, width, count, raw);
  splitAndPredict(raw, size, split);
  let packed = deflate(split, size, size >> 1, scratch, to + 8, size);
  if (packed == 0) {
    memory.copy(to + 8, raw, size);
    packed = size;
  }
  store<i32>(to, y);
  store<i32>(to, packed, 4);
  return packed + 8;
}
