/**
 * The lines of a Bayer mosaic in a ring, levelled and balanced, as each way of demosaic takes them.
 * What is computed is said in media/raw/develop/levels.ts, with its reference in double precision. Addresses and layout:
 * media/raw/develop/kernel.ts alone knows them.
 *
 * A line of the mosaic holds one of red and blue (`c` below, the line's colour) at every other pixel and green between. It is
 * kept as two half lines, so that all lanes of a vector do the same work. With p = 0 where the line starts with its colour, 1 where with green:
 * beside the i-th c lie the greens i-1+p and i+p; beside the i-th green lie the c i-p and i+1-p; above and below each stands its own index
 * in the half line of the other kind, since p alternates from line to line. Of two lines one apart, c is red in one and blue in the other.
 */

import { held, heldFloat } from './common-held';

/** Half lines have room for this many values on both sides of what is read through neighbours. */
const PAD: usize = 8;
/** Values of a whole line on each side of the crop: more than any method reaches, so that its own edges never show. */
export const MARGIN: i32 = 16;
/** Lines kept: more than the longest way from the first to the last stage. */
const RING: i32 = 16;

/** Half lines of one slot of the ring. */
export const C: usize = 0;
export const G: usize = 1;
export const CH: usize = 2;
export const CV: usize = 3;
export const ACROSS: usize = 4;
export const GREEN: usize = 5;
export const OWN: usize = 6;
export const OTHER: usize = 7;
export const OPPOSITE: usize = 8;
const KINDS: usize = 9;

// The plan (media/raw/develop/kernel.ts writes it), read once a band.
let codes: usize = 0;
let stride: i32 = 0;
let activeWidth: i32 = 0;
let activeHeight: i32 = 0;
let cropLeft: i32 = 0;
export let cropTop: i32 = 0;
export let cropWidth: i32 = 0;
let cropHeight: i32 = 0;
let redRow: i32 = 0;
let redColumn: i32 = 0;
let table: usize = 0;
let blacks: usize = 0;
let blackRows: i32 = 0;
let rowDeltas: usize = 0;
let lineCodes: usize = 0;
export let ring: usize = 0;
/** Values of a half line that are computed, a multiple of 4; bytes from one half line to the next. */
export let halfLine: i32 = 0;
let pitch: usize = 0;
let gainRed: f32 = 0;
let gainGreen: f32 = 0;
let gainBlue: f32 = 0;
export let backRed: f32 = 0;
export let backGreen: f32 = 0;
export let backBlue: f32 = 0;
export let outRed: usize = 0;
export let outGreen: usize = 0;
export let outBlue: usize = 0;
/** Linear values of the active area in place of codes; 0: there are none. */
let mosaic: usize = 0;
/** The first line of the band, where the planes begin. */
export let bandTop: i32 = 0;

/** Reads the plan for a band that begins with this line of the crop. */
export function open(plan: usize, first: i32): void {
  codes = load<u32>(plan);
  stride = load<i32>(plan, 4);
  activeWidth = load<i32>(plan, 8);
  activeHeight = load<i32>(plan, 12);
  cropLeft = load<i32>(plan, 16);
  cropTop = load<i32>(plan, 20);
  cropWidth = load<i32>(plan, 24);
  cropHeight = load<i32>(plan, 28);
  redRow = load<i32>(plan, 32);
  redColumn = load<i32>(plan, 36);
  table = load<u32>(plan, 40);
  blacks = load<u32>(plan, 44);
  blackRows = load<i32>(plan, 48);
  rowDeltas = load<u32>(plan, 52);
  lineCodes = load<u32>(plan, 56);
  ring = load<u32>(plan, 60);
  gainRed = load<f32>(plan, 64);
  gainGreen = load<f32>(plan, 68);
  gainBlue = load<f32>(plan, 72);
  backRed = load<f32>(plan, 76);
  backGreen = load<f32>(plan, 80);
  backBlue = load<f32>(plan, 84);
  outRed = load<u32>(plan, 88);
  outGreen = load<u32>(plan, 92);
  outBlue = load<u32>(plan, 96);
  mosaic = load<u32>(plan, 100);
  halfLine = ((cropWidth + 2 * MARGIN + 7) >> 3) << 2;
  pitch = (usize(halfLine) + 2 * PAD) << 2;
  bandTop = cropTop + first;
}

/** Mirrored about the first and the last sample as often as needed: parity stays. `count` is 2 or more. */
function fold(index: i32, count: i32): i32 {
  const period = 2 * (count - 1);
  let at = index % period;
  if (at < 0) at += period;
  return at < count ? at : period - at;
}

@inline
export function at(line: i32, kind: usize): usize {
  return held(ring + (usize(line & (RING - 1)) * KINDS + kind) * pitch + (PAD << 2));
}

/** Whether the line's colour is red. */
@inline
export function isRed(line: i32): bool {
  return ((line - redRow) & 1) == 0;
}

/** 0 where the line starts with its colour. */
@inline
export function phase(line: i32): i32 {
  return (redColumn + (isRed(line) ? 0 : 1) - cropLeft) & 1;
}

/** The codes of one line, continued by mirroring, as u16 from `lineCodes` on. */
function gather(row: usize, first: i32, count: i32): void {
  const from = max(0, -first);
  const to = min(count, activeWidth - first);
  for (let x = 0; x < min(from, count); x++) store<u16>(lineCodes + (usize(x) << 1), load<u16>(row + (usize(fold(first + x, activeWidth)) << 1)));
  if (to > from) memory.copy(lineCodes + (usize(from) << 1), row + (usize(first + from) << 1), usize(to - from) << 1);
  for (let x = max(from, to); x < count; x++) store<u16>(lineCodes + (usize(x) << 1), load<u16>(row + (usize(fold(first + x, activeWidth)) << 1)));
}

/** One line of the mosaic, continued by mirroring, as f32 from `lineCodes` on. */
function gatherValues(row: usize, first: i32, count: i32): void {
  const from = max(0, -first);
  const to = min(count, activeWidth - first);
  for (let x = 0; x < min(from, count); x++) store<f32>(lineCodes + (usize(x) << 2), load<f32>(row + (usize(fold(first + x, activeWidth)) << 2)));
  if (to > from) memory.copy(lineCodes + (usize(from) << 2), row + (usize(first + from) << 2), usize(to - from) << 2);
  for (let x = max(from, to); x < count; x++) store<f32>(lineCodes + (usize(x) << 2), load<f32>(row + (usize(fold(first + x, activeWidth)) << 2)));
}

@inline
function looked(p: usize): v128 {
  let v = f32x4.splat(load<f32>(table + (usize(load<u16>(p)) << 2)));
  v = f32x4.replace_lane(v, 1, load<f32>(table + (usize(load<u16>(p, 2)) << 2)));
  v = f32x4.replace_lane(v, 2, load<f32>(table + (usize(load<u16>(p, 4)) << 2)));
  return f32x4.replace_lane(v, 3, load<f32>(table + (usize(load<u16>(p, 6)) << 2)));
}

/** media/raw/demosaic/fine.ts: CURVE, and its root. */
const CURVE: f32 = 0.02;
export const ROOT: f32 = 0.1414213562373095;

@inline
function onCurve(value: v128, curved: bool): v128 {
  if (!curved) return value;
  const none = f32x4.splat(0);
  const above = f32x4.pmax(none, value);
  const below = f32x4.pmin(none, value);
  const rooted = f32x4.div(above, f32x4.add(f32x4.sqrt(f32x4.add(above, f32x4.splat(CURVE))), f32x4.splat(ROOT)));
  return f32x4.add(rooted, f32x4.mul(below, f32x4.splat(1 / (2 * ROOT))));
}

/** `slope`: 2 * ROOT. */
@inline
export function offCurve(value: v128, slope: v128): v128 {
  return f32x4.mul(value, f32x4.add(slope, f32x4.pmax(value, f32x4.splat(0))));
}

/** One line of a mosaic that is linear already, balanced. */
@inline
function takeValues(line: i32, y: i32, curved: bool): void {
  gatherValues(mosaic + (usize(y) * usize(activeWidth) << 2), cropLeft - MARGIN, halfLine << 1);
  const starts = phase(line) == 0;
  const even = at(line, starts ? C : G);
  const odd = at(line, starts ? G : C);
  const colour: f32 = 1 / (isRed(line) ? backRed : backBlue);
  const green: f32 = 1 / backGreen;
  const evenGain = heldFloat(starts ? colour : green);
  const oddGain = heldFloat(starts ? green : colour);
  const values = halfLine;
  const from = held(lineCodes);
  for (let i = 0; i < values; i += 4) {
    const p = from + (usize(i) << 3);
    const a = v128.load(p);
    const b = v128.load(p, 16);
    v128.store(even + (usize(i) << 2), onCurve(f32x4.mul(v128.shuffle<f32>(a, b, 0, 2, 4, 6), evenGain), curved));
    v128.store(odd + (usize(i) << 2), onCurve(f32x4.mul(v128.shuffle<f32>(a, b, 1, 3, 5, 7), oddGain), curved));
  }
}

/** One line from codes to balanced values: (linearised - black) times scale and gain of its colour; `curved`: on the curve of `fine`. */
@inline
export function take(line: i32, curved: bool): void {
  const y = fold(line, activeHeight);
  if (mosaic != 0) {
    takeValues(line, y, curved);
    return;
  }
  gather(codes + (usize(y) * usize(stride) << 1), cropLeft - MARGIN, halfLine << 1);
  const black = held(blacks + ((usize(y % blackRows) * usize(halfLine)) << 3));
  const delta = v128.load32_splat(rowDeltas + (usize(y) << 2));
  const colour = isRed(line) ? gainRed : gainBlue;
  const starts = phase(line) == 0;
  const even = at(line, starts ? C : G);
  const odd = at(line, starts ? G : C);
  const evenGain = heldFloat(starts ? colour : gainGreen);
  const oddGain = heldFloat(starts ? gainGreen : colour);
  const looking = table != 0;
  const values = halfLine;
  const from = held(lineCodes);
  for (let i = 0; i < values; i += 4) {
    const p = from + (usize(i) << 2);
    let a: v128;
    let b: v128;
    if (looking) {
      a = looked(p);
      b = looked(p + 8);
    } else {
      const v = v128.load(p);
      a = f32x4.convert_i32x4_s(i32x4.extend_low_i16x8_u(v));
      b = f32x4.convert_i32x4_s(i32x4.extend_high_i16x8_u(v));
    }
    a = f32x4.sub(f32x4.sub(a, v128.load(black + (usize(i) << 3))), delta);
    b = f32x4.sub(f32x4.sub(b, v128.load(black + (usize(i) << 3) + 16)), delta);
    v128.store(even + (usize(i) << 2), onCurve(f32x4.mul(v128.shuffle<f32>(a, b, 0, 2, 4, 6), evenGain), curved));
    v128.store(odd + (usize(i) << 2), onCurve(f32x4.mul(v128.shuffle<f32>(a, b, 1, 3, 5, 7), oddGain), curved));
  }
}

/** Eight pixels of a plane, those at even places and those at odd ones, times `by`. */
@inline
export function zip(evens: v128, odds: v128, by: v128, out: usize): void {
  const a = f32x4.mul(evens, by);
  const b = f32x4.mul(odds, by);
  v128.store(out, v128.shuffle<f32>(a, b, 0, 4, 1, 5));
  v128.store(out, v128.shuffle<f32>(a, b, 2, 6, 3, 7), 16);
}

/** Where the line lies in the planes, from the crop's left on: bytes from their beginning. */
@inline
export function placeOf(line: i32): usize {
  return usize(line - bandTop) * usize(cropWidth) << 2;
}

@inline
export function add(a: v128, b: v128): v128 {
  return f32x4.add(a, b);
}
@inline
export function sub(a: v128, b: v128): v128 {
  return f32x4.sub(a, b);
}
@inline
export function mul(a: v128, by: v128): v128 {
  return f32x4.mul(a, by);
}
/** The value beside: `index` values further on. */
@inline
export function beside(p: usize, index: i32): v128 {
  return v128.load(p + (usize(index) << 2));
}
