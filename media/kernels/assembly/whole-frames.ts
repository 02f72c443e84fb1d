/**
 * Sketches of whole frames (proof/whole-frame-sketch.ts says what they are, and has the same in plain code, which the tests hold this against):
 * sums of all values of a region and channel, each with a weight drawn from its place. Whole numbers modulo 2^32, so their order does not matter.
 */

import { heldWord } from './common-held';

const CHANNELS: i32 = 3;
const SIDE: i32 = 8;

/**
 * Weights of one line, a byte for each pixel, by the finaliser of MurmurHash3 (public domain): 4 weights of 8 bits for 4 neighbours of a line.
 * Sixteen at a time: `to` has room for up to 15 more than there are pixels.
 */
function lineOfWeights(line: i32, width: i32, to: usize): void {
  const seed = heldWord(line * 0x9e3779b1), one = heldWord(0x85ebca6b), other = heldWord(0xc2b2ae35);
  let block = i32x4(0, 1, 2, 3);
  for (let at = 0; at < width; at += 16) {
    let h = v128.xor(seed, block);
    h = i32x4.mul(v128.xor(h, i32x4.shr_u(h, 16)), one);
    h = i32x4.mul(v128.xor(h, i32x4.shr_u(h, 13)), other);
    v128.store(to + usize(at), v128.xor(h, i32x4.shr_u(h, 16)));
    block = i32x4.add(block, i32x4.splat(4));
  }
}

/** Eight odd numbers from -255 to 255. */
@inline
function eightWeights(line: usize, at: i32): v128 {
  return i16x8.sub(i16x8.shl(v128.load8x8_u(line + usize(at)), 1), i16x8.splat(255));
}

/** Ones in those of eight lanes from `first` on that lie from `from` on and before `to`, all of them a line's width at most. */
@inline
function lanes(first: i32, from: i32, to: i32): v128 {
  const at = i16x8.add(i16x8.splat(i16(first - from)), i16x8(0, 1, 2, 3, 4, 5, 6, 7));
  return v128.andnot(i16x8.lt_s(at, i16x8.splat(i16(to - from))), i16x8.lt_s(at, i16x8.splat(0)));
}

/** Exponent of 2^15, from which on a value may have to be held at the largest half. */
const LARGE: i32 = 0x4700_0000;
/** Of 2^-14, below which halves are no closer together. */
const SMALLEST: i32 = 0x3880_0000;

const EXPONENT: i32 = 0x7f80_0000;
/** Makes an exponent one and a half times 2^13 times as large. */
const LARGER: i32 = (13 << 23) | (1 << 22);

/** The exponent that decides how far apart the halves around a float are, where it stands in the float. */
@inline
function placeOf(bits: v128, exponent: v128, smallest: v128): v128 {
  return i32x4.max_s(v128.and(bits, exponent), smallest);
}

/**
 * Steps from zero, with the sign, of the halves nearest to four floats below 2^16 (IEEE 754, ties to even), of which `place` is the exponent: the processor
 * itself rounds, in a sum with a number that is 2^13 times as large. Other steps to the same as the writer's (exr.ts): a fault of one is none of the other.
 */
@inline
function usualSteps(bits: v128, place: v128, smallest: v128, larger: v128): v128 {
  const large = i32x4.add(place, larger);
  const rounded = i32x4.sub(f32x4.add(bits, large), large);
  const before = i32x4.shr_u(i32x4.sub(place, smallest), 13);
  const sign = i32x4.shr_s(bits, 31);
  return i32x4.add(rounded, i32x4.sub(v128.xor(before, sign), sign));
}

/** The same of any float: beyond the largest half that one, no number 0. */
@inline
function halfSteps(bits: v128): v128 {
  const size = v128.and(bits, i32x4.splat(0x7fff_ffff));
  const sign = i32x4.shr_s(bits, 31);
  // 65520, from which on the nearest half would be infinite.
  const beyond = i32x4.ge_s(size, i32x4.splat(0x477f_f000));
  const largest = i32x4.sub(v128.xor(i32x4.splat(0x7bff), sign), sign);
  const usual = v128.andnot(bits, beyond);
  const smallest = i32x4.splat(SMALLEST);
  const place = placeOf(usual, i32x4.splat(EXPONENT), smallest);
  const steps = v128.bitselect(largest, usualSteps(usual, place, smallest, i32x4.splat(LARGER)), beyond);
  return v128.andnot(steps, i32x4.gt_s(size, i32x4.splat(0x7f80_0000)));
}

@inline
function sumOf(four: v128): i32 {
  return i32x4.extract_lane(four, 0) + i32x4.extract_lane(four, 1) + i32x4.extract_lane(four, 2) + i32x4.extract_lane(four, 3);
}

@inline
function add(to: usize, four: v128): void {
  store<i32>(to, load<i32>(to) + sumOf(four));
}

/** Eight steps of at most 15 bits and a sign: they fit into 16. Reads up to seven values behind the plane (media/kernels/planes.ts). */
@inline
function eightSteps(low: v128, high: v128): v128 {
  return i16x8.narrow_i32x4_s(halfSteps(low), halfSteps(high));
}
@inline
function eightUsual(low: v128, lowPlace: v128, high: v128, highPlace: v128, smallest: v128, larger: v128): v128 {
  return i16x8.narrow_i32x4_s(usualSteps(low, lowPlace, smallest, larger), usualSteps(high, highPlace, smallest, larger));
}

@inline
function takeLines(r: usize, g: usize, b: usize, width: i32, lines: i32, first: i32, rows: usize, cuts: usize, sums: usize, drawn: usize, halves: bool): void {
  const exponent = heldWord(EXPONENT), smallest = heldWord(SMALLEST), larger = heldWord(LARGER), large = heldWord(LARGE);
  for (let line = 0; line < lines; line++) {
    const y = first + line;
    const start = usize(line * width) << (halves ? 2 : 1);
    const row = i32(load<u8>(rows + y)) * SIDE;
    lineOfWeights(y, width, drawn);
    let from = 0;
    for (let column = 0; column < SIDE; column++) {
      const to = load<i32>(cuts + (usize(column) << 2));
      let red = i32x4.splat(0);
      let green = i32x4.splat(0);
      let blue = i32x4.splat(0);
      for (let at = from & ~7; at < to; at += 8) {
        let weight = eightWeights(drawn, at);
        if (at < from || at + 8 > to) weight = v128.and(weight, lanes(at, from, to));
        let ofRed: v128, ofGreen: v128, ofBlue: v128;
        if (halves) {
          const place = start + (usize(at) << 2);
          const r0 = v128.load(r + place), r1 = v128.load(r + place, 16);
          const g0 = v128.load(g + place), g1 = v128.load(g + place, 16);
          const b0 = v128.load(b + place), b1 = v128.load(b + place, 16);
          const pr0 = placeOf(r0, exponent, smallest), pr1 = placeOf(r1, exponent, smallest);
          const pg0 = placeOf(g0, exponent, smallest), pg1 = placeOf(g1, exponent, smallest);
          const pb0 = placeOf(b0, exponent, smallest), pb1 = placeOf(b1, exponent, smallest);
          const greatest = i32x4.max_s(i32x4.max_s(i32x4.max_s(pr0, pr1), i32x4.max_s(pg0, pg1)), i32x4.max_s(pb0, pb1));
          if (v128.any_true(i32x4.ge_s(greatest, large))) {
            ofRed = eightSteps(r0, r1);
            ofGreen = eightSteps(g0, g1);
            ofBlue = eightSteps(b0, b1);
          } else {
            ofRed = eightUsual(r0, pr0, r1, pr1, smallest, larger);
            ofGreen = eightUsual(g0, pg0, g1, pg1, smallest, larger);
            ofBlue = eightUsual(b0, pb0, b1, pb1, smallest, larger);
          }
        } else {
          const place = start + (usize(at) << 1);
          ofRed = v128.load(r + place);
          ofGreen = v128.load(g + place);
          ofBlue = v128.load(b + place);
        }
        red = i32x4.add(red, i32x4.dot_i16x8_s(ofRed, weight));
        green = i32x4.add(green, i32x4.dot_i16x8_s(ofGreen, weight));
        blue = i32x4.add(blue, i32x4.dot_i16x8_s(ofBlue, weight));
      }
      const region = sums + (usize((row + column) * CHANNELS) << 2);
      add(region, red);
      add(region + 4, green);
      add(region + 8, blue);
      from = to;
    }
  }
}

/**
 * Planes of float32 as half floats. `rows`: a byte a line of the picture, the row of its regions; `cuts`: where each column of regions
 * ends, 8 words; `sums`: 192 words, of a region and channel each; `drawn`: room for a byte a pixel of a line and 15 more.
 */
export function takeHalves(r: usize, g: usize, b: usize, width: i32, lines: i32, first: i32, rows: usize, cuts: usize, sums: usize, drawn: usize): void {
  takeLines(r, g, b, width, lines, first, rows, cuts, sums, drawn, true);
}

/** Planes of codes in 16 bits, of 15 at most, otherwise as `takeHalves`. */
export function takeCodes(r: usize, g: usize, b: usize, width: i32, lines: i32, first: i32, rows: usize, cuts: usize, sums: usize, drawn: usize): void {
  takeLines(r, g, b, width, lines, first, rows, cuts, sums, drawn, false);
}

/** Values of float32 as the words that `table` has for the halves nearest to them, by their bits. */
export function toWords(from: usize, count: i32, table: usize, to: usize): void {
  for (let at = 0; at < count; at++) {
    const steps = i32x4.extract_lane(halfSteps(v128.load32_zero(from + (usize(at) << 2))), 0);
    const bits = steps < 0 ? 0x8000 - steps : steps;
    store<u16>(to + (usize(at) << 1), load<u16>(table + (usize(bits) << 1)));
  }
}

/**
 * What planes of float32 range over, added to what was seen before: at `to` six float32, least of r, g, b and greatest of them, and behind them a word,
 * the pixels of which every channel is above 1.
 */
export function takeRange(r: usize, g: usize, b: usize, count: i32, to: usize): void {
  let leastR = v128.load32_splat(to), leastG = v128.load32_splat(to, 4), leastB = v128.load32_splat(to, 8);
  let mostR = v128.load32_splat(to, 12), mostG = v128.load32_splat(to, 16), mostB = v128.load32_splat(to, 20);
  let over = i32x4.splat(0);
  const one = f32x4.splat(1);
  const own = i32x4(0, 1, 2, 3);
  for (let at = 0; at < count; at += 4) {
    const place = usize(at) << 2;
    let red = v128.load(r + place), green = v128.load(g + place), blue = v128.load(b + place);
    if (at + 4 > count) {
      // What lies behind the picture is its last group's first pixel.
      const real = i32x4.lt_s(own, i32x4.splat(count - at));
      red = v128.bitselect(red, v128.shuffle<i32>(red, red, 0, 0, 0, 0), real);
      green = v128.bitselect(green, v128.shuffle<i32>(green, green, 0, 0, 0, 0), real);
      blue = v128.bitselect(blue, v128.shuffle<i32>(blue, blue, 0, 0, 0, 0), real);
      over = i32x4.add(over, v128.andnot(v128.and(f32x4.gt(red, one), v128.and(f32x4.gt(green, one), f32x4.gt(blue, one))), real));
    }
    over = i32x4.sub(over, v128.and(f32x4.gt(red, one), v128.and(f32x4.gt(green, one), f32x4.gt(blue, one))));
    leastR = f32x4.pmin(leastR, red);
    mostR = f32x4.pmax(mostR, red);
    leastG = f32x4.pmin(leastG, green);
    mostG = f32x4.pmax(mostG, green);
    leastB = f32x4.pmin(leastB, blue);
    mostB = f32x4.pmax(mostB, blue);
  }
  store<f32>(to, leastOf(leastR));
  store<f32>(to, leastOf(leastG), 4);
  store<f32>(to, leastOf(leastB), 8);
  store<f32>(to, mostOf(mostR), 12);
  store<f32>(to, mostOf(mostG), 16);
  store<f32>(to, mostOf(mostB), 20);
  store<i32>(to, load<i32>(to, 24) + sumOf(over), 24);
}

@inline
function leastOf(four: v128): f32 {
  return min(min(f32x4.extract_lane(four, 0), f32x4.extract_lane(four, 1)), min(f32x4.extract_lane(four, 2), f32x4.extract_lane(four, 3)));
}
@inline
function mostOf(four: v128): f32 {
  return max(max(f32x4.extract_lane(four, 0), f32x4.extract_lane(four, 1)), max(f32x4.extract_lane(four, 2), f32x4.extract_lane(four, 3)));
}

/** Sum of samples `from` to before `to` of a line. */
@inline
function sumWords(line: usize, from: i32, to: i32): i32 {
  let sums = i32x4.splat(0);
  let at = from;
  for (; at + 8 <= to; at += 8) sums = i32x4.add(sums, i32x4.extadd_pairwise_i16x8_u(v128.load(line + (usize(at) << 1))));
  let sum = sumOf(sums);
  for (; at < to; at++) sum += i32(load<u16>(line + (usize(at) << 1)));
  return sum;
}
@inline
function sumBytes(line: usize, from: i32, to: i32): i32 {
  let sums = i32x4.splat(0);
  let at = from;
  for (; at + 16 <= to; at += 16)
    sums = i32x4.add(sums, i32x4.extadd_pairwise_i16x8_u(i16x8.extadd_pairwise_i8x16_u(v128.load(line + usize(at)))));
  let sum = sumOf(sums);
  for (; at < to; at++) sum += i32(load<u8>(line + usize(at)));
  return sum;
}

/**
 * What one line gives to each cell of a grid (proof/area.ts): samples that lie in a cell alone count `cells` times, its first and its last one by
 * their part. `cuts`: four words a cell: first sample, last sample, parts of the first, parts of the last; the last of a cell that has one sample
 * counts nothing. `bytes`: of a sample, 1 or 2. `to`: a float64 a cell.
 */
export function lineOfCells(line: usize, bytes: i32, cells: i32, cuts: usize, to: usize): void {
  for (let cell = 0; cell < cells; cell++) {
    const cut = cuts + (usize(cell) << 4);
    const first = load<i32>(cut);
    const last = load<i32>(cut, 4);
    const middle = bytes == 1 ? sumBytes(line, first + 1, last) : sumWords(line, first + 1, last);
    const atFirst = bytes == 1 ? i32(load<u8>(line + usize(first))) : i32(load<u16>(line + (usize(first) << 1)));
    const atLast = bytes == 1 ? i32(load<u8>(line + usize(last))) : i32(load<u16>(line + (usize(last) << 1)));
    store<f64>(
      to + (usize(cell) << 3),
      f64(atFirst) * f64(load<i32>(cut, 8)) + f64(middle) * f64(cells) + f64(atLast) * f64(load<i32>(cut, 12)),
    );
  }
}
