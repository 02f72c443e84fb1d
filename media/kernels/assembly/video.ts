/**
 * Colour of pictures: raw frames to R'G'B' codes, and planes through the steps of a colour transform. Planes are float32;
 * transforms run in float64 over blocks that stay in the first cache, so that nothing is rounded between steps.
 * media/colour/program.ts writes the programs that `run` reads, media/colour/picture.ts says what lies where.
 */

/** Pixels of a block: four buffers of this many float64. */
const BLOCK: i32 = 256;
const BUFFER: usize = 2048;

/** The greatest float32. */
const MOST: f64 = 3.4028234663852886e38;
const SMALLEST: f64 = 1.1754943508222875e-38;

/** Operations of a program, one float64 each; their parameters follow. The same numbers stand in program.ts. */
const END: i32 = 0;
const MATRIX: i32 = 1;
const CURVE: i32 = 2;
const CLAMP: i32 = 3;
const TABLE: i32 = 4;
const HALF_TABLE: i32 = 5;
const CUBE: i32 = 6;
/** Pieces of a curve. */
const LINE: i32 = 0;
const EXPONENTIAL: i32 = 1;
const LOGARITHM: i32 = 2;
const POWER: i32 = 3;
const PQ_LIGHT: i32 = 4;
const PQ_SIGNAL: i32 = 5;

/**
 * What `exp2` and `log2` compute with, in memory: V8 makes constants again in every turn of a loop, in three steps each. 900 and its negative (2^900: powers end
 * there, far from what overflows in the sums of a matrix); what leaves the nearest integer in the last places of a float64 when it is added; the polynomial of `exp2` from the lowest power on; 1; the series of `log2`.
 */
const NUMBERS: usize = memory.data<f64>(
  [
    900, -900, 6755399441055744,
    0.9999999999999997, 0.6931471805459343, 0.24022650695821055, 0.055504109412010456, 0.009618129157656703, 0.0013333450573018062, 0.00015403457039410448, 1.531007807039615e-5, 1.325497460306718e-6,
    1,
    2.8853900817778473, 0.9617966941144593, 0.5770779423360143, 0.41220924061947967, 0.3199065504099949, 0.2828843360693384,
  ],
  16,
);
const POWERS: usize = NUMBERS + 3 * 8;
const ONE: usize = NUMBERS + 12 * 8;
const SERIES: usize = NUMBERS + 13 * 8;

@inline
function number(at: usize): v128 {
  return v128.load64_splat(at);
}

/** 2^x, relative error 2e-12: by the nearest integer, and a polynomial (Chebyshev nodes, degree 8) within half of one. */
@inline
function exp2(x: v128): v128 {
  const held = f64x2.pmax(f64x2.pmin(x, number(NUMBERS)), number(NUMBERS + 8));
  const rounder = number(NUMBERS + 16);
  const rounded = f64x2.add(held, rounder);
  const f = f64x2.sub(held, f64x2.sub(rounded, rounder));
  // By pairs, so that half of the sums need not wait for the others.
  const f2 = f64x2.mul(f, f);
  const f4 = f64x2.mul(f2, f2);
  const p01 = f64x2.add(f64x2.mul(number(POWERS + 8), f), number(POWERS));
  const p23 = f64x2.add(f64x2.mul(number(POWERS + 24), f), number(POWERS + 16));
  const p45 = f64x2.add(f64x2.mul(number(POWERS + 40), f), number(POWERS + 32));
  const p67 = f64x2.add(f64x2.mul(number(POWERS + 56), f), number(POWERS + 48));
  const p47 = f64x2.add(f64x2.add(p45, f64x2.mul(p67, f2)), f64x2.mul(number(POWERS + 64), f4));
  const p = f64x2.add(f64x2.add(p01, f64x2.mul(p23, f2)), f64x2.mul(p47, f4));
  return i64x2.add(p, i64x2.shl(rounded, 52));
}

/** log2(x) of a normal x > 0, error 1e-13: by the exponent, and an odd series in (m - 1) / (m + 1) for a mantissa from √½ to √2. */
@inline
function log2(x: v128): v128 {
  const exponent = i64x2.shr_s(i64x2.sub(x, i64x2.splat(0x3fe6_a09e_667f_3bcd)), 52);
  const m = i64x2.sub(x, i64x2.shl(exponent, 52));
  const n = f64x2.sub(i64x2.add(exponent, i64x2.splat(0x4338_0000_0000_0000)), number(NUMBERS + 16));
  const one = number(ONE);
  const s = f64x2.div(f64x2.sub(m, one), f64x2.add(m, one));
  const z = f64x2.mul(s, s);
  const z2 = f64x2.mul(z, z);
  const q01 = f64x2.add(f64x2.mul(number(SERIES + 8), z), number(SERIES));
  const q23 = f64x2.add(f64x2.mul(number(SERIES + 24), z), number(SERIES + 16));
  const q45 = f64x2.add(f64x2.mul(number(SERIES + 40), z), number(SERIES + 32));
  const q = f64x2.add(q01, f64x2.mul(z2, f64x2.add(q23, f64x2.mul(z2, q45))));
  return f64x2.add(f64x2.mul(s, q), n);
}

/** x^p for x > 0; 0 for everything else. */
@inline
function pow(x: v128, p: v128): v128 {
  const positive = f64x2.ge(x, f64x2.splat(f64.MIN_NORMAL_VALUE));
  return v128.and(exp2(f64x2.mul(p, log2(f64x2.pmax(x, f64x2.splat(f64.MIN_NORMAL_VALUE))))), positive);
}

@inline
function parameter(program: usize, index: i32): f64 {
  return load<f64>(program + (usize(index) << 3));
}

/** `word`: an address or a count, kept as float64. */
@inline
function word(program: usize, index: i32): usize {
  return usize(u32(parameter(program, index)));
}

/**
 * The value where x is above the piece's beginning, else what is there already; with mirrored curves a piece sees |x|, and
 * its value gets the sign.
 */
@inline
function settle(y: v128, x: v128, a: v128, above: v128, sign: v128, to: usize): void {
  v128.store(to, v128.bitselect(v128.xor(y, v128.and(x, sign)), v128.load(to), f64x2.gt(a, above)));
}

/** One piece over a block. `magnitude` and `sign` are masks: all and nothing where the curve is not mirrored. Each kind has its own loop. */
function piece(at: usize, from: usize, to: usize, count: i32, magnitude: v128, sign: v128): void {
  const kind = i32(parameter(at, 0));
  const above = f64x2.splat(parameter(at, 1));
  const p0 = f64x2.splat(parameter(at, 2));
  const p1 = f64x2.splat(parameter(at, 3));
  const p2 = f64x2.splat(parameter(at, 4));
  const p3 = f64x2.splat(parameter(at, 5));
  const p4 = f64x2.splat(parameter(at, 6));
  const end = from + (usize(count) << 3);
  const away = to - from;
  if (kind == LINE) {
    for (let o = from; o < end; o += 16) {
      const x = v128.load(o), a = v128.and(x, magnitude);
      settle(f64x2.add(f64x2.mul(f64x2.add(f64x2.mul(p2, a), p0), a), p1), x, a, above, sign, o + away);
    }
  } else if (kind == EXPONENTIAL) {
    for (let o = from; o < end; o += 16) {
      const x = v128.load(o), a = v128.and(x, magnitude);
      settle(f64x2.add(f64x2.mul(p0, exp2(f64x2.add(f64x2.mul(p1, a), p2))), p3), x, a, above, sign, o + away);
    }
  } else if (kind == LOGARITHM) {
    for (let o = from; o < end; o += 16) {
      const x = v128.load(o), a = v128.and(x, magnitude);
      settle(f64x2.add(f64x2.mul(p0, log2(f64x2.pmax(f64x2.add(f64x2.mul(p1, a), p2), f64x2.splat(SMALLEST)))), p3), x, a, above, sign, o + away);
    }
  } else if (kind == POWER) {
    for (let o = from; o < end; o += 16) {
      const x = v128.load(o), a = v128.and(x, magnitude);
      settle(f64x2.add(f64x2.mul(p0, pow(f64x2.add(f64x2.mul(p1, a), p2), p3)), p4), x, a, above, sign, o + away);
    }
  } else if (kind == PQ_LIGHT) {
    for (let o = from; o < end; o += 16) {
      const x = v128.load(o), a = v128.and(x, magnitude);
      const root = pow(f64x2.pmin(a, p3), p1);
      const light = f64x2.pmax(f64x2.sub(root, f64x2.splat(0.8359375)), f64x2.splat(0));
      settle(f64x2.mul(p0, pow(f64x2.div(light, f64x2.sub(f64x2.splat(18.8515625), f64x2.mul(f64x2.splat(18.6875), root))), p2)), x, a, above, sign, o + away);
    }
  } else {
    for (let o = from; o < end; o += 16) {
      const x = v128.load(o), a = v128.and(x, magnitude);
      const power = pow(f64x2.pmin(f64x2.mul(a, p0), p3), p1);
      const signal = f64x2.div(f64x2.add(f64x2.splat(0.8359375), f64x2.mul(f64x2.splat(18.8515625), power)), f64x2.add(f64x2.splat(1), f64x2.mul(f64x2.splat(18.6875), power)));
      settle(pow(signal, p2), x, a, above, sign, o + away);
    }
  }
}

function matrix(program: usize, r: usize, g: usize, b: usize, count: i32): void {
  const m00 = f64x2.splat(parameter(program, 0)), m01 = f64x2.splat(parameter(program, 1)), m02 = f64x2.splat(parameter(program, 2)), k0 = f64x2.splat(parameter(program, 3));
  const m10 = f64x2.splat(parameter(program, 4)), m11 = f64x2.splat(parameter(program, 5)), m12 = f64x2.splat(parameter(program, 6)), k1 = f64x2.splat(parameter(program, 7));
  const m20 = f64x2.splat(parameter(program, 8)), m21 = f64x2.splat(parameter(program, 9)), m22 = f64x2.splat(parameter(program, 10)), k2 = f64x2.splat(parameter(program, 11));
  for (let i = 0; i < count; i += 2) {
    const o = usize(i) << 3;
    const x = v128.load(r + o), y = v128.load(g + o), z = v128.load(b + o);
    v128.store(r + o, f64x2.add(f64x2.add(f64x2.mul(m00, x), f64x2.mul(m01, y)), f64x2.add(f64x2.mul(m02, z), k0)));
    v128.store(g + o, f64x2.add(f64x2.add(f64x2.mul(m10, x), f64x2.mul(m11, y)), f64x2.add(f64x2.mul(m12, z), k1)));
    v128.store(b + o, f64x2.add(f64x2.add(f64x2.mul(m20, x), f64x2.mul(m21, y)), f64x2.add(f64x2.mul(m22, z), k2)));
  }
}

function clamp(at: usize, low: f64, high: f64, count: i32): void {
  for (let i = 0; i < count; i += 2) {
    const o = at + (usize(i) << 3);
    v128.store(o, f64x2.pmax(f64x2.pmin(v128.load(o), f64x2.splat(high)), f64x2.splat(low)));
  }
}

/** Straight lines between the entries at equal distances, float64. */
function table(at: usize, entries: usize, length: i32, low: f64, scale: f64, count: i32): void {
  const last = f64(length - 1);
  for (let i = 0; i < count; i++) {
    const o = at + (usize(i) << 3);
    const place = max(min((load<f64>(o) - low) * scale, last), 0);
    const below = min(i32(place), length - 2);
    const part = place - f64(below);
    const entry = entries + (usize(below) << 3);
    store<f64>(o, load<f64>(entry) * (1 - part) + load<f64>(entry, 8) * part);
  }
}

/** 65536 entries by the bits of a half. Halves of one sign are ordered as their bits, so a place between two is a number too. */
function halfTable(at: usize, entries: usize, count: i32): void {
  for (let i = 0; i < count; i++) {
    const o = at + (usize(i) << 3);
    const x = load<f64>(o);
    const size = min(abs(x), 65504.0);
    let place: f64;
    if (size < 6.103515625e-5) place = size * 16777216;
    else {
      const bits = reinterpret<i64>(size);
      const exponent = (bits >> 52) - 1008;
      place = f64(exponent) * 1024 + f64(bits & 0x000f_ffff_ffff_ffff) * 2.2737367544323206e-13;
    }
    const below = min(i32(place), 31742);
    const part = place - f64(below);
    const entry = entries + (usize(below + (x < 0 ? 32768 : 0)) << 3);
    store<f64>(o, load<f64>(entry) * (1 - part) + load<f64>(entry, 8) * part);
  }
}

@inline
function corner(at: usize, channel: usize): f64 {
  return f64(load<f32>(at + (channel << 2)));
}

/** R, G, B of size³ places, red fastest, float32. */
function cube(program: usize, r: usize, g: usize, b: usize, count: i32): void {
  const entries = word(program, 0);
  const size = i32(word(program, 1));
  const tetrahedral = parameter(program, 2) != 0;
  const last = f64(size - 1);
  const stepR: usize = 12, stepG = usize(size) * 12, stepB = usize(size) * stepG;
  for (let i = 0; i < count; i++) {
    const o = usize(i) << 3;
    const placeR = max(min((load<f64>(r + o) - parameter(program, 3)) * parameter(program, 6), last), 0);
    const placeG = max(min((load<f64>(g + o) - parameter(program, 4)) * parameter(program, 7), last), 0);
    const placeB = max(min((load<f64>(b + o) - parameter(program, 5)) * parameter(program, 8), last), 0);
    const baseR = min(i32(placeR), size - 2), baseG = min(i32(placeG), size - 2), baseB = min(i32(placeB), size - 2);
    const x = placeR - f64(baseR), y = placeG - f64(baseG), z = placeB - f64(baseB);
    const near = entries + usize(baseR) * stepR + usize(baseG) * stepG + usize(baseB) * stepB;
    if (tetrahedral) {
      const far = near + stepR + stepG + stepB;
      // The way from the near corner to the far one: first along the channel with the greatest part, last along the one with the least.
      let first: usize, second: usize, most: f64, middle: f64, least: f64;
      if (x >= y) {
        if (y >= z) { first = stepR; second = stepR + stepG; most = x; middle = y; least = z; }
        else if (x >= z) { first = stepR; second = stepR + stepB; most = x; middle = z; least = y; }
        else { first = stepB; second = stepB + stepR; most = z; middle = x; least = y; }
      } else if (z >= y) { first = stepB; second = stepB + stepG; most = z; middle = y; least = x; }
      else if (z >= x) { first = stepG; second = stepG + stepB; most = y; middle = z; least = x; }
      else { first = stepG; second = stepG + stepR; most = y; middle = x; least = z; }
      const w0 = 1 - most, w1 = most - middle, w2 = middle - least;
      for (let c: usize = 0; c < 3; c++) {
        const value = w0 * corner(near, c) + w1 * corner(near + first, c) + w2 * corner(near + second, c) + least * corner(far, c);
        store<f64>((c == 0 ? r : c == 1 ? g : b) + o, value);
      }
    } else {
      for (let c: usize = 0; c < 3; c++) {
        const v00 = corner(near, c) * (1 - x) + corner(near + stepR, c) * x;
        const v10 = corner(near + stepG, c) * (1 - x) + corner(near + stepG + stepR, c) * x;
        const v01 = corner(near + stepB, c) * (1 - x) + corner(near + stepB + stepR, c) * x;
        const v11 = corner(near + stepB + stepG, c) * (1 - x) + corner(near + stepB + stepG + stepR, c) * x;
        store<f64>((c == 0 ? r : c == 1 ? g : b) + o, (v00 * (1 - y) + v10 * y) * (1 - z) + (v01 * (1 - y) + v11 * y) * z);
      }
    }
  }
}

/** float32 to float64, a multiple of 4; infinities become the greatest float32, what is no number becomes 0. */
function widen(from: usize, to: usize, count: i32): void {
  for (let i = 0; i < count; i += 2) {
    const x = f64x2.promote_low_f32x4(v128.load64_zero(from + (usize(i) << 2)));
    const number = v128.and(x, f64x2.eq(x, x));
    v128.store(to + (usize(i) << 3), f64x2.pmax(f64x2.pmin(number, f64x2.splat(MOST)), f64x2.splat(-MOST)));
  }
}

/** And back, within ±the greatest float32; nothing leaves that is no number. */
function narrow(from: usize, to: usize, count: i32): void {
  for (let i = 0; i < count; i += 2) {
    const x = v128.load(from + (usize(i) << 3));
    const number = v128.and(x, f64x2.eq(x, x));
    v128.store64_lane(to + (usize(i) << 2), f32x4.demote_f64x2_zero(f64x2.pmax(f64x2.pmin(number, f64x2.splat(MOST)), f64x2.splat(-MOST))), 0);
  }
}

/** What `widen` and `narrow` make of float32 that nothing happens to between them; a multiple of 4. */
function finite(from: usize, to: usize, count: i32): void {
  for (let i = 0; i < count; i += 4) {
    const o = usize(i) << 2;
    const x = v128.load(from + o);
    const number = v128.and(x, f32x4.eq(x, x));
    v128.store(to + o, f32x4.pmax(f32x4.pmin(number, f32x4.splat(f32.MAX_VALUE)), f32x4.splat(-f32.MAX_VALUE)));
  }
}

/** Codes since `clearLimited` below and above what there is room for, and the least and the greatest of all before they were limited. */
let below: v128 = i64x2.splat(0);
let above: v128 = i64x2.splat(0);
let leastCode: v128 = f64x2.splat(Infinity);
let greatestCode: v128 = f64x2.splat(-Infinity);

export function clearLimited(): void {
  below = i64x2.splat(0);
  above = i64x2.splat(0);
  leastCode = f64x2.splat(Infinity);
  greatestCode = f64x2.splat(-Infinity);
}
export function limitedBelow(): i32 {
  return i32(i64x2.extract_lane(below, 0) + i64x2.extract_lane(below, 1));
}
export function limitedAbove(): i32 {
  return i32(i64x2.extract_lane(above, 0) + i64x2.extract_lane(above, 1));
}
export function leastBefore(): f64 {
  return min(f64x2.extract_lane(leastCode, 0), f64x2.extract_lane(leastCode, 1));
}
export function greatestBefore(): f64 {
  return max(f64x2.extract_lane(greatestCode, 0), f64x2.extract_lane(greatestCode, 1));
}

/** What of `own` values lies beyond, once it is known that some do. */
function countLimited(from: usize, own: i32, least: f64, most: f64): void {
  const low = f64x2.splat(least);
  const high = f64x2.splat(most);
  let under = i64x2.splat(0);
  let over = i64x2.splat(0);
  for (let i = 0; i < own; i += 2) {
    const here = f64x2.floor(f64x2.add(v128.load(from + (usize(i) << 3)), f64x2.splat(0.5)));
    const counts = i + 2 <= own ? i64x2.splat(-1) : i64x2.replace_lane(i64x2.splat(0), 0, -1);
    under = i64x2.sub(under, v128.and(f64x2.lt(here, low), counts));
    over = i64x2.sub(over, v128.and(f64x2.gt(here, high), counts));
  }
  below = i64x2.add(below, under);
  above = i64x2.add(above, over);
}

/** float64 to 16-bit codes from `least` to `most`, rounded half up; a multiple of 4, of which the first `own` are of the picture. */
function codes(from: usize, to: usize, count: i32, own: i32, least: f64, most: f64): void {
  const low = f64x2.splat(least);
  const high = f64x2.splat(most);
  let lowest = f64x2.splat(Infinity);
  let highest = f64x2.splat(-Infinity);
  // Behind the picture stands its last value once more: it says nothing new.
  for (let i = own; i < count; i++) store<f64>(from + (usize(i) << 3), load<f64>(from + (usize(own - 1) << 3)));
  for (let i = 0; i < count; i += 4) {
    const o = from + (usize(i) << 3);
    const a = f64x2.floor(f64x2.add(v128.load(o), f64x2.splat(0.5)));
    const b = f64x2.floor(f64x2.add(v128.load(o, 16), f64x2.splat(0.5)));
    lowest = f64x2.pmin(lowest, f64x2.pmin(a, b));
    highest = f64x2.pmax(highest, f64x2.pmax(a, b));
    const first = i32x4.trunc_sat_f64x2_u_zero(f64x2.pmax(f64x2.pmin(a, high), low));
    const second = i32x4.trunc_sat_f64x2_u_zero(f64x2.pmax(f64x2.pmin(b, high), low));
    const four = v128.shuffle<i32>(first, second, 0, 1, 4, 5);
    v128.store64_lane(to + (usize(i) << 1), i16x8.narrow_i32x4_u(four, four), 0);
  }
  leastCode = f64x2.pmin(leastCode, lowest);
  greatestCode = f64x2.pmax(greatestCode, highest);
  if (v128.any_true(v128.or(f64x2.lt(lowest, low), f64x2.gt(highest, high)))) countLimited(from, own, least, most);
}

/**
 * Planes r, g, b through the program. `least` and `most`: both 0 for float32 out, else 16-bit codes between them. Out may be in.
 * `scratch`: four blocks of float64. Reads and writes up to the next multiple of 4 behind `count`.
 */
export function run(program: usize, r: usize, g: usize, b: usize, toR: usize, toG: usize, toB: usize, count: i32, scratch: usize, least: f64, most: f64): void {
  if (i32(load<f64>(program)) == END && most == 0) {
    const n = (count + 3) & ~3;
    finite(r, toR, n);
    finite(g, toG, n);
    finite(b, toB, n);
    return;
  }
  for (let start = 0; start < count; start += BLOCK) {
    const n = (min(BLOCK, count - start) + 3) & ~3;
    let x = scratch, y = scratch + BUFFER, z = scratch + 2 * BUFFER, spare = scratch + 3 * BUFFER;
    const from = usize(start) << 2;
    widen(r + from, x, n);
    widen(g + from, y, n);
    widen(b + from, z, n);
    let at = program;
    for (;;) {
      const operation = i32(load<f64>(at));
      at += 8;
      if (operation == MATRIX) {
        matrix(at, x, y, z, n);
        at += 96;
      } else if (operation == CURVE) {
        const channel = i32(parameter(at, 0));
        const mirrored = parameter(at, 1) != 0;
        const pieces = i32(parameter(at, 2));
        at += 24;
        const source = channel == 0 ? x : channel == 1 ? y : z;
        const magnitude = i64x2.splat(mirrored ? i64.MAX_VALUE : -1);
        const sign = i64x2.splat(mirrored ? i64.MIN_VALUE : 0);
        for (let k = 0; k < pieces; k++) {
          piece(at, source, spare, n, magnitude, sign);
          at += 56;
        }
        if (channel == 0) x = spare;
        else if (channel == 1) y = spare;
        else z = spare;
        spare = source;
      } else if (operation == CLAMP) {
        const low = parameter(at, 0), high = parameter(at, 1);
        clamp(x, low, high, n);
        clamp(y, low, high, n);
        clamp(z, low, high, n);
        at += 16;
      } else if (operation == TABLE) {
        const channel = i32(parameter(at, 0));
        table(channel == 0 ? x : channel == 1 ? y : z, word(at, 1), i32(word(at, 2)), parameter(at, 3), parameter(at, 4), n);
        at += 40;
      } else if (operation == HALF_TABLE) {
        const channel = i32(parameter(at, 0));
        halfTable(channel == 0 ? x : channel == 1 ? y : z, word(at, 1), n);
        at += 16;
      } else if (operation == CUBE) {
        cube(at, x, y, z, n);
        at += 72;
      } else break;
    }
    if (most == 0) {
      narrow(x, toR + from, n);
      narrow(y, toG + from, n);
      narrow(z, toB + from, n);
    } else {
      const to = usize(start) << 1;
      const own = min(BLOCK, count - start);
      codes(x, toR + to, n, own, least, most);
      codes(y, toG + to, n, own, least, most);
      codes(z, toB + to, n, own, least, most);
    }
  }
}

/** How samples are coded; the same numbers stand in picture.ts. */
const U8: i32 = 0;
const U16LE: i32 = 1;
const U16BE: i32 = 2;
const F32LE: i32 = 3;
const F32BE: i32 = 4;

@inline
function sample(at: usize, coding: i32, shift: i32): f32 {
  if (coding == U8) return f32(load<u8>(at));
  if (coding == U16LE) return f32(u32(load<u16>(at)) >> shift);
  if (coding == U16BE) return f32(u32(bswap<u16>(load<u16>(at))) >> shift);
  const value = coding == F32LE ? load<f32>(at) : reinterpret<f32>(bswap<u32>(load<u32>(at)));
  return value != value ? 0 : max(min(value, f32.MAX_VALUE), -f32.MAX_VALUE);
}

/** A line of samples to float32: (code - zero) / span. Writes exactly `count`. */
export function loadLine(from: usize, step: i32, coding: i32, shift: i32, to: usize, count: i32, zero: f32, span: f32): void {
  let i = 0;
  const zeros = f32x4.splat(zero);
  const spans = f32x4.splat(span);
  if (coding == U8 && step == 1) {
    for (; i + 8 <= count; i += 8) {
      const wide = i16x8.extend_low_i8x16_u(v128.load64_zero(from + usize(i)));
      const o = to + (usize(i) << 2);
      v128.store(o, f32x4.div(f32x4.sub(f32x4.convert_i32x4_u(i32x4.extend_low_i16x8_u(wide)), zeros), spans));
      v128.store(o, f32x4.div(f32x4.sub(f32x4.convert_i32x4_u(i32x4.extend_high_i16x8_u(wide)), zeros), spans), 16);
    }
  } else if ((coding == U16LE || coding == U16BE) && step == 2) {
    for (; i + 8 <= count; i += 8) {
      let wide = v128.load(from + (usize(i) << 1));
      if (coding == U16BE) wide = v128.or(i16x8.shl(wide, 8), i16x8.shr_u(wide, 8));
      wide = i16x8.shr_u(wide, shift);
      const o = to + (usize(i) << 2);
      v128.store(o, f32x4.div(f32x4.sub(f32x4.convert_i32x4_u(i32x4.extend_low_i16x8_u(wide)), zeros), spans));
      v128.store(o, f32x4.div(f32x4.sub(f32x4.convert_i32x4_u(i32x4.extend_high_i16x8_u(wide)), zeros), spans), 16);
    }
  } else if (coding == F32LE && step == 4) {
    for (; i + 4 <= count; i += 4) {
      const x = v128.load(from + (usize(i) << 2));
      const number = v128.and(x, f32x4.eq(x, x));
      v128.store(to + (usize(i) << 2), f32x4.div(f32x4.sub(f32x4.pmax(f32x4.pmin(number, f32x4.splat(f32.MAX_VALUE)), f32x4.splat(-f32.MAX_VALUE)), zeros), spans));
    }
  }
  for (; i < count; i++) store<f32>(to + (usize(i) << 2), (sample(from + usize(i * step), coding, shift) - zero) / span);
}

/** Of a line of float32: values that are no numbers, or (`infinite`) that are infinities. */
export function countSpecial(from: usize, step: i32, coding: i32, count: i32, infinite: i32): i32 {
  let found = 0;
  let i = 0;
  const magnitude = i32x4.splat(0x7fff_ffff);
  const infinity = i32x4.splat(0x7f80_0000);
  if (coding == F32LE && step == 4) {
    let lanes: v128 = i32x4.splat(0);
    for (; i + 4 <= count; i += 4) {
      const size = v128.and(v128.load(from + (usize(i) << 2)), magnitude);
      lanes = i32x4.sub(lanes, infinite ? i32x4.eq(size, infinity) : i32x4.gt_s(size, infinity));
    }
    found = i32x4.extract_lane(lanes, 0) + i32x4.extract_lane(lanes, 1) + i32x4.extract_lane(lanes, 2) + i32x4.extract_lane(lanes, 3);
  }
  for (; i < count; i++) {
    const bits = load<u32>(from + usize(i * step));
    const size = i32((coding == F32BE ? bswap<u32>(bits) : bits) & 0x7fff_ffff);
    if (infinite ? size == 0x7f80_0000 : size > 0x7f80_0000) found++;
  }
  return found;
}

/** The outermost values of a line go on for `before` and `behind` it. */
export function extendLine(at: usize, count: i32, before: i32, behind: i32): void {
  const first = load<f32>(at);
  const last = load<f32>(at + (usize(count - 1) << 2));
  for (let i = 1; i <= before; i++) store<f32>(at - (usize(i) << 2), first);
  for (let i = 0; i < behind; i++) store<f32>(at + (usize(count + i) << 2), last);
}

/** Four lines weighed into one; a multiple of 4. */
export function blendLines(a: usize, b: usize, c: usize, d: usize, wa: f32, wb: f32, wc: f32, wd: f32, to: usize, count: i32): void {
  for (let i = 0; i < count; i += 4) {
    const o = usize(i) << 2;
    const outer = f32x4.add(f32x4.mul(v128.load(a + o), f32x4.splat(wa)), f32x4.mul(v128.load(d + o), f32x4.splat(wd)));
    const inner = f32x4.add(f32x4.mul(v128.load(b + o), f32x4.splat(wb)), f32x4.mul(v128.load(c + o), f32x4.splat(wc)));
    v128.store(to + o, f32x4.add(inner, outer));
  }
}

/** Two values for each of `count`: the even one from the four beginning at `even` before it, the odd one likewise. A multiple of 4. */
export function doubleLine(from: usize, count: i32, even: i32, e0: f32, e1: f32, e2: f32, e3: f32, odd: i32, o0: f32, o1: f32, o2: f32, o3: f32, to: usize): void {
  for (let i = 0; i < count; i += 4) {
    const e = from + (usize(i + even) << 2);
    const o = from + (usize(i + odd) << 2);
    const evens = f32x4.add(
      f32x4.add(f32x4.mul(v128.load(e, 4), f32x4.splat(e1)), f32x4.mul(v128.load(e, 8), f32x4.splat(e2))),
      f32x4.add(f32x4.mul(v128.load(e), f32x4.splat(e0)), f32x4.mul(v128.load(e, 12), f32x4.splat(e3))),
    );
    const odds = f32x4.add(
      f32x4.add(f32x4.mul(v128.load(o, 4), f32x4.splat(o1)), f32x4.mul(v128.load(o, 8), f32x4.splat(o2))),
      f32x4.add(f32x4.mul(v128.load(o), f32x4.splat(o0)), f32x4.mul(v128.load(o, 12), f32x4.splat(o3))),
    );
    const at = to + (usize(i) << 3);
    v128.store(at, v128.shuffle<i32>(evens, odds, 0, 4, 1, 5));
    v128.store(at, v128.shuffle<i32>(evens, odds, 2, 6, 3, 7), 16);
  }
}

/** A line of Y' (0 to 1), Cb, Cr (-0.5 to 0.5) to R'G'B'. A multiple of 4. */
export function rgbLine(y: usize, cb: usize, cr: usize, crToR: f32, cbToG: f32, crToG: f32, cbToB: f32, r: usize, g: usize, b: usize, count: i32): void {
  for (let i = 0; i < count; i += 4) {
    const o = usize(i) << 2;
    const luma = v128.load(y + o), blue = v128.load(cb + o), red = v128.load(cr + o);
    v128.store(r + o, f32x4.add(luma, f32x4.mul(red, f32x4.splat(crToR))));
    v128.store(g + o, f32x4.add(luma, f32x4.add(f32x4.mul(blue, f32x4.splat(cbToG)), f32x4.mul(red, f32x4.splat(crToG)))));
    v128.store(b + o, f32x4.add(luma, f32x4.mul(blue, f32x4.splat(cbToB))));
  }
}
