/**
 * Pictures warped as DNG's WarpRectilinear asks (DNG specification, chapter 7; media/raw/corrections/reference.ts has the same pixel by pixel): where
 * pixels come from in double precision, and what lies there by Keys' cubic, four pixels at a time.
 */
import { held, heldDouble, heldFloat } from './common-held';

/** How far outside a place is looked at: there all pixels are the last one, and a whole number has no room for more. */
const OUTSIDE: f64 = 4;

let stride: i32 = 0;
let width: i32 = 0;
let height: i32 = 0;

/** Of four pixels: columns and rows of those at an edge; their weights across and down, four vectors each. */
const COLUMNS: usize = memory.data(160, 16);
const ROWS: usize = COLUMNS + 16;
const ACROSS: usize = COLUMNS + 32;
const DOWN: usize = COLUMNS + 96;

/** Weights of four pixels by Keys' cubic with a = -1/2 (IEEE Trans. ASSP 29(6), 1981): of one of the four values around places that lie `t` beyond the second. */
@inline
function cubic(t: v128, a: v128, b: v128, c: v128, d: v128): v128 {
  const w = f32x4.add(f32x4.mul(t, a), b);
  return f32x4.add(f32x4.mul(t, f32x4.add(f32x4.mul(t, w), c)), d);
}

/** Two places cut off, of pixels or beyond the edges. */
@inline
function cutOff(place: v128, least: v128, most: v128): v128 {
  return i32x4.trunc_sat_f64x2_s_zero(f64x2.pmax(least, f64x2.pmin(place, most)));
}
@inline
function together(two: v128, others: v128): v128 {
  return v128.shuffle<i64>(two, others, 0, 2);
}

/** Pixel `lane` of those at an edge, whose last pixels go on. */
function atEdge(source: usize, lane: usize): f32 {
  const skip = lane << 2;
  const column = load<i32>(COLUMNS + skip);
  const row = load<i32>(ROWS + skip);
  let rows = f32x4.splat(0);
  for (let j = 0; j < 4; j++) {
    const line = source + (usize(min(max(row - 1 + j, 0), height - 1) * stride) << 2);
    let values = f32x4.splat(load<f32>(line + (usize(min(max(column - 1, 0), width - 1)) << 2)));
    values = f32x4.replace_lane(values, 1, load<f32>(line + (usize(min(max(column, 0), width - 1)) << 2)));
    values = f32x4.replace_lane(values, 2, load<f32>(line + (usize(min(max(column + 1, 0), width - 1)) << 2)));
    values = f32x4.replace_lane(values, 3, load<f32>(line + (usize(min(max(column + 2, 0), width - 1)) << 2)));
    rows = f32x4.add(rows, f32x4.mul(values, v128.load32_splat(DOWN + (usize(j) << 4) + skip)));
  }
  const across = ACROSS + skip;
  return (
    (f32x4.extract_lane(rows, 0) * load<f32>(across) + f32x4.extract_lane(rows, 2) * load<f32>(across, 32)) +
    (f32x4.extract_lane(rows, 1) * load<f32>(across, 16) + f32x4.extract_lane(rows, 3) * load<f32>(across, 48))
  );
}

/** The four columns around a place, each summed up by the weights of the rows; `down`: those of its pixel. */
@inline
function columnsAt(p: usize, pitch: usize, down: usize): v128 {
  const two = p + pitch;
  const three = two + pitch;
  let rows = f32x4.mul(v128.load(p), v128.load32_splat(down));
  rows = f32x4.add(rows, f32x4.mul(v128.load(two), v128.load32_splat(down, 16)));
  rows = f32x4.add(rows, f32x4.mul(v128.load(three), v128.load32_splat(down, 32)));
  return f32x4.add(rows, f32x4.mul(v128.load(three + pitch), v128.load32_splat(down, 48)));
}

/** One way of two places with what tangential coefficients add: `square` of the part of `q` that is this way's, `other` the coefficient of the other one. */
@inline
function tangential(radial: v128, dx: v128, dy: v128, q: v128, square: v128, own: v128, other: v128): v128 {
  return f64x2.add(f64x2.add(radial, f64x2.mul(f64x2.mul(f64x2.add(own, own), dx), dy)), f64x2.mul(other, f64x2.add(q, f64x2.add(square, square))));
}

@inline
function warpLines(planes: usize, count: i32, factors: usize, isTangential: bool): void {
  const cx = v128.load64_splat(factors), cy = v128.load64_splat(factors, 8), far = v128.load64_splat(factors, 16);
  const r0 = v128.load64_splat(factors, 24), r1 = v128.load64_splat(factors, 32), r2 = v128.load64_splat(factors, 40), r3 = v128.load64_splat(factors, 48);
  const t0 = v128.load64_splat(factors, 56), t1 = v128.load64_splat(factors, 64);
  const perPixel = f64x2.splat(1 / load<f64>(factors, 16));
  const none = heldFloat(0), half = heldFloat(0.5), minusHalf = heldFloat(-0.5), one = heldFloat(1), two = heldFloat(2);
  const threeHalves = heldFloat(1.5), minusThreeHalves = heldFloat(-1.5), minusFiveHalves = heldFloat(-2.5);
  const least = heldDouble(-OUTSIDE), mostX = heldDouble(f64(width) + OUTSIDE), mostY = heldDouble(f64(height) + OUTSIDE), step = heldDouble(2);
  const pitch = held(usize(stride) << 2);
  for (let line = 0; line < height; line++) {
    const dy = f64x2.mul(f64x2.sub(f64x2.splat(f64(line)), cy), perPixel);
    const dyDy = f64x2.mul(dy, dy);
    let columns = f64x2(0, 1);
    for (let x = 0; x < width; x += 4) {
      const dx = f64x2.mul(f64x2.sub(columns, cx), perPixel);
      const behind = f64x2.add(columns, step);
      const ex = f64x2.mul(f64x2.sub(behind, cx), perPixel);
      columns = f64x2.add(behind, step);
      const dxDx = f64x2.mul(dx, dx), exEx = f64x2.mul(ex, ex);
      const q = f64x2.add(dxDx, dyDy), u = f64x2.add(exEx, dyDy);
      const radial = f64x2.add(r0, f64x2.mul(q, f64x2.add(r1, f64x2.mul(q, f64x2.add(r2, f64x2.mul(q, r3))))));
      const radialBehind = f64x2.add(r0, f64x2.mul(u, f64x2.add(r1, f64x2.mul(u, f64x2.add(r2, f64x2.mul(u, r3))))));
      let across = f64x2.mul(radial, dx), acrossBehind = f64x2.mul(radialBehind, ex);
      let down = f64x2.mul(radial, dy), downBehind = f64x2.mul(radialBehind, dy);
      if (isTangential) {
        across = tangential(across, dx, dy, q, dxDx, t0, t1);
        acrossBehind = tangential(acrossBehind, ex, dy, u, exEx, t0, t1);
        down = tangential(down, dx, dy, q, dyDy, t1, t0);
        downBehind = tangential(downBehind, ex, dy, u, dyDy, t1, t0);
      }
      const sxFirst = f64x2.add(cx, f64x2.mul(far, across)), sx = f64x2.add(cx, f64x2.mul(far, acrossBehind));
      const syFirst = f64x2.add(cy, f64x2.mul(far, down)), sy = f64x2.add(cy, f64x2.mul(far, downBehind));
      const fx = f64x2.floor(sxFirst), fy = f64x2.floor(syFirst), gx = f64x2.floor(sx), gy = f64x2.floor(sy);
      const left = together(cutOff(fx, least, mostX), cutOff(gx, least, mostX));
      const top = together(cutOff(fy, least, mostY), cutOff(gy, least, mostY));
      const tx = together(f32x4.demote_f64x2_zero(f64x2.sub(sxFirst, fx)), f32x4.demote_f64x2_zero(f64x2.sub(sx, gx)));
      const ty = together(f32x4.demote_f64x2_zero(f64x2.sub(syFirst, fy)), f32x4.demote_f64x2_zero(f64x2.sub(sy, gy)));
      const a0 = cubic(tx, minusHalf, one, minusHalf, none), a1 = cubic(tx, threeHalves, minusFiveHalves, none, one), a2 = cubic(tx, minusThreeHalves, two, half, none), a3 = cubic(tx, half, minusHalf, none, none);
      v128.store(DOWN, cubic(ty, minusHalf, one, minusHalf, none));
      v128.store(DOWN, cubic(ty, threeHalves, minusFiveHalves, none, one), 16);
      v128.store(DOWN, cubic(ty, minusThreeHalves, two, half, none), 32);
      v128.store(DOWN, cubic(ty, half, minusHalf, none, none), 48);
      const to = usize(line * stride + x) << 2;
      const lows = v128.and(i32x4.gt_s(left, i32x4.splat(0)), i32x4.gt_s(top, i32x4.splat(0)));
      const highs = v128.and(i32x4.lt_s(left, i32x4.splat(width - 2)), i32x4.lt_s(top, i32x4.splat(height - 2)));
      if (x + 4 <= width && i32x4.all_true(v128.and(lows, highs))) {
        const places = i32x4.shl(i32x4.add(i32x4.mul(i32x4.sub(top, i32x4.splat(1)), i32x4.splat(stride)), i32x4.sub(left, i32x4.splat(1))), 2);
        const p0 = usize(i32x4.extract_lane(places, 0)), p1 = usize(i32x4.extract_lane(places, 1));
        const p2 = usize(i32x4.extract_lane(places, 2)), p3 = usize(i32x4.extract_lane(places, 3));
        for (let plane = 0; plane < count; plane++) {
          const from = usize(load<u32>(planes + (usize(plane) << 3)));
          const first = columnsAt(from + p0, pitch, DOWN);
          const second = columnsAt(from + p1, pitch, DOWN + 4);
          const third = columnsAt(from + p2, pitch, DOWN + 8);
          const fourth = columnsAt(from + p3, pitch, DOWN + 12);
          const low = v128.shuffle<f32>(first, second, 0, 4, 1, 5), high = v128.shuffle<f32>(first, second, 2, 6, 3, 7);
          const lowBehind = v128.shuffle<f32>(third, fourth, 0, 4, 1, 5), highBehind = v128.shuffle<f32>(third, fourth, 2, 6, 3, 7);
          const even = f32x4.add(f32x4.mul(v128.shuffle<i64>(low, lowBehind, 0, 2), a0), f32x4.mul(v128.shuffle<i64>(high, highBehind, 0, 2), a2));
          const odd = f32x4.add(f32x4.mul(v128.shuffle<i64>(low, lowBehind, 1, 3), a1), f32x4.mul(v128.shuffle<i64>(high, highBehind, 1, 3), a3));
          v128.store(usize(load<u32>(planes + (usize(plane) << 3), 4)) + to, f32x4.add(even, odd));
        }
        continue;
      }
      v128.store(COLUMNS, left);
      v128.store(ROWS, top);
      v128.store(ACROSS, a0);
      v128.store(ACROSS, a1, 16);
      v128.store(ACROSS, a2, 32);
      v128.store(ACROSS, a3, 48);
      for (let plane = 0; plane < count; plane++) {
        const from = usize(load<u32>(planes + (usize(plane) << 3)));
        const out = usize(load<u32>(planes + (usize(plane) << 3), 4)) + to;
        for (let lane = 0; lane < min(4, width - x); lane++) store<f32>(out + (usize(lane) << 2), atEdge(from, usize(lane)));
      }
    }
  }
}

/**
 * `count` planes warped alike, `valuesInLine` values from line to line. `planes`: of each the address of its first value and of the first one that is made,
 * u32 each. `factors`, f64: the centre's column and row, the distance of the farthest corner, four radial and two tangential coefficients. Beyond an
 * edge its last pixels go on.
 */
export function warp(planes: usize, count: i32, valuesInLine: i32, columns: i32, lines: i32, factors: usize): void {
  stride = valuesInLine;
  width = columns;
  height = lines;
  if (load<f64>(factors, 56) == 0 && load<f64>(factors, 64) == 0) warpLines(planes, count, factors, false);
  else warpLines(planes, count, factors, true);
}
