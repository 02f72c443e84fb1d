/**
 * Sketches of whole frames (proof/whole-frame-sketch.ts says what they are, and has the same in plain code, which the tests hold this against):
 * sums of all values of a region and channel, each with a weight drawn from its place. Whole numbers modulo 2^32, so their order does not matter.
 */

const CHANNELS: i32 = 3;
const SIDE: i32 = 8;

/** The finaliser of MurmurHash3 (public domain): 4 weights of 8 bits for 4 neighbours of a line. */
@inline
function weights(line: i32, block: i32): u32 {
  let h: u32 = (line * 0x9e3779b1) ^ block;
  h = (h ^ (h >>> 16)) * 0x85ebca6b;
  h = (h ^ (h >>> 13)) * 0xc2b2ae35;
  return h ^ (h >>> 16);
}

/** Four odd numbers from -255 to 255. */
@inline
function fourWeights(line: i32, block: i32): v128 {
  const bytes = i32x4.extend_low_i16x8_u(i16x8.extend_low_i8x16_u(i32x4.splat(weights(line, block))));
  return i32x4.sub(i32x4.shl(bytes, 1), i32x4.splat(255));
}

/** Ones in the lanes of the block at `first` that lie from `from` on and before `to`. */
@inline
function lanes(first: i32, from: i32, to: i32): v128 {
  const at = i32x4.add(i32x4.splat(first), i32x4(0, 1, 2, 3));
  return v128.andnot(i32x4.lt_s(at, i32x4.splat(to)), i32x4.lt_s(at, i32x4.splat(from)));
}

/**
 * Steps from zero, with the sign, of the halves nearest to four floats (IEEE 754, ties to even); beyond the largest that one, no number 0.
 * Other steps to the same as the writer's (exr.ts): a fault of one is none of the other.
 */
@inline
function halfSteps(bits: v128): v128 {
  const size = v128.and(bits, i32x4.splat(0x7fff_ffff));
  const odd = v128.and(i32x4.shr_u(size, 13), i32x4.splat(1));
  const usual = i32x4.shr_s(i32x4.add(i32x4.add(i32x4.sub(size, i32x4.splat(0x3800_0000)), i32x4.splat(0x0fff)), odd), 13);
  // Below 2^-14 halves are 2^-24 apart, as floats from 0.5 to 1 are: the sum is rounded as they are.
  const tiny = i32x4.sub(f32x4.add(size, f32x4.splat(0.5)), i32x4.splat(0x3f00_0000));
  let steps = v128.bitselect(usual, tiny, i32x4.ge_s(size, i32x4.splat(0x3880_0000)));
  // 65520, from which on the nearest half would be infinite.
  steps = v128.bitselect(i32x4.splat(0x7bff), steps, i32x4.ge_s(size, i32x4.splat(0x477f_f000)));
  steps = v128.andnot(steps, i32x4.gt_s(size, i32x4.splat(0x7f80_0000)));
  const sign = i32x4.shr_s(bits, 31);
  return i32x4.sub(v128.xor(steps, sign), sign);
}

@inline
function sumOf(four: v128): i32 {
  return i32x4.extract_lane(four, 0) + i32x4.extract_lane(four, 1) + i32x4.extract_lane(four, 2) + i32x4.extract_lane(four, 3);
}

@inline
function add(to: usize, four: v128): void {
  store<i32>(to, load<i32>(to) + sumOf(four));
}

/** 4 floats, or 4 codes of 16 bits. Reads up to three values behind the plane, which have room there (media/kernels/planes.ts). */
@inline
function four(plane: usize, at: i32, halves: bool): v128 {
  return halves ? halfSteps(v128.load(plane + (usize(at) << 2))) : v128.load16x4_u(plane + (usize(at) << 1));
}

@inline
function takeLines(r: usize, g: usize, b: usize, width: i32, lines: i32, first: i32, rows: usize, cuts: usize, sums: usize, halves: bool): void {
  for (let line = 0; line < lines; line++) {
    const y = first + line;
    const start = line * width;
    const row = i32(load<u8>(rows + y)) * SIDE;
    let from = 0;
    for (let column = 0; column < SIDE; column++) {
      const to = load<i32>(cuts + (usize(column) << 2));
      let red = i32x4.splat(0);
      let green = i32x4.splat(0);
      let blue = i32x4.splat(0);
      for (let at = from & ~3; at < to; at += 4) {
        let weight = fourWeights(y, at >> 2);
        if (at < from || at + 4 > to) weight = v128.and(weight, lanes(at, from, to));
        red = i32x4.add(red, i32x4.mul(four(r, start + at, halves), weight));
        green = i32x4.add(green, i32x4.mul(four(g, start + at, halves), weight));
        blue = i32x4.add(blue, i32x4.mul(four(b, start + at, halves), weight));
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
 * ends, 8 words; `sums`: 192 words, of a region and channel each.
 */
export function takeHalves(r: usize, g: usize, b: usize, width: i32, lines: i32, first: i32, rows: usize, cuts: usize, sums: usize): void {
  takeLines(r, g, b, width, lines, first, rows, cuts, sums, true);
}

/** Planes of codes of 16 bits, otherwise as `takeHalves`. */
export function takeCodes(r: usize, g: usize, b: usize, width: i32, lines: i32, first: i32, rows: usize, cuts: usize, sums: usize): void {
  takeLines(r, g, b, width, lines, first, rows, cuts, sums, false);
}
