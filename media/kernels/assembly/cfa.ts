/**
 * Raw frames: levels and demosaic of a Bayer mosaic, line by line through a ring of lines, and development to AP0.
 * What is computed is said in media/raw (develop/levels.ts, demosaic/linear.ts, demosaic/fine.ts, develop/highlights.ts), where
 * each has its reference in double precision. Addresses and layout: media/raw/develop/kernel.ts alone knows them.
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
const MARGIN: i32 = 16;
/** Lines kept: more than the longest way from the first to the last stage. */
const RING: i32 = 16;

/** Half lines of one slot of the ring. */
const C: usize = 0;
const G: usize = 1;
const CH: usize = 2;
const CV: usize = 3;
const ACROSS: usize = 4;
const GREEN: usize = 5;
const OWN: usize = 6;
const OTHER: usize = 7;
const OPPOSITE: usize = 8;
const KINDS: usize = 9;

// The plan (media/raw/develop/kernel.ts writes it), read once a band.
let codes: usize = 0;
let stride: i32 = 0;
let activeWidth: i32 = 0;
let activeHeight: i32 = 0;
let cropLeft: i32 = 0;
let cropTop: i32 = 0;
let cropWidth: i32 = 0;
let cropHeight: i32 = 0;
let redRow: i32 = 0;
let redColumn: i32 = 0;
let table: usize = 0;
let blacks: usize = 0;
let blackRows: i32 = 0;
let rowDeltas: usize = 0;
let lineCodes: usize = 0;
let ring: usize = 0;
/** Values of a half line that are computed, a multiple of 4; bytes from one half line to the next. */
let halfLine: i32 = 0;
let pitch: usize = 0;
let gainRed: f32 = 0;
let gainGreen: f32 = 0;
let gainBlue: f32 = 0;
let backRed: f32 = 0;
let backGreen: f32 = 0;
let backBlue: f32 = 0;
let outRed: usize = 0;
let outGreen: usize = 0;
let outBlue: usize = 0;
/** Linear values of the active area in place of codes; 0: there are none. */
let mosaic: usize = 0;
/** The first line of the band, where the planes begin. */
let bandTop: i32 = 0;

function open(plan: usize): void {
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
}

/** Mirrored about the first and the last sample as often as needed: parity stays. `count` is 2 or more. */
function fold(index: i32, count: i32): i32 {
  const period = 2 * (count - 1);
  let at = index % period;
  if (at < 0) at += period;
  return at < count ? at : period - at;
}

@inline
function at(line: i32, kind: usize): usize {
  return held(ring + (usize(line & (RING - 1)) * KINDS + kind) * pitch + (PAD << 2));
}

/** Whether the line's colour is red. */
@inline
function isRed(line: i32): bool {
  return ((line - redRow) & 1) == 0;
}

/** 0 where the line starts with its colour. */
@inline
function phase(line: i32): i32 {
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
const ROOT: f32 = 0.1414213562373095;

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
function offCurve(value: v128, slope: v128): v128 {
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
function take(line: i32, curved: bool): void {
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
function zip(evens: v128, odds: v128, by: v128, out: usize): void {
  const a = f32x4.mul(evens, by);
  const b = f32x4.mul(odds, by);
  v128.store(out, v128.shuffle<f32>(a, b, 0, 4, 1, 5));
  v128.store(out, v128.shuffle<f32>(a, b, 2, 6, 3, 7), 16);
}

/** Where the line lies in the planes, from the crop's left on: bytes from their beginning. */
@inline
function placeOf(line: i32): usize {
  return usize(line - bandTop) * usize(cropWidth) << 2;
}

@inline
function add(a: v128, b: v128): v128 {
  return f32x4.add(a, b);
}
@inline
function sub(a: v128, b: v128): v128 {
  return f32x4.sub(a, b);
}
@inline
function mul(a: v128, by: v128): v128 {
  return f32x4.mul(a, by);
}
/** The value beside: `index` values further on. */
@inline
function beside(p: usize, index: i32): v128 {
  return v128.load(p + (usize(index) << 2));
}

/**
 * media/raw/demosaic/linear.ts, one line, out of balance again. Pixels come eight at a time: up to seven behind a line's end, where the next
 * line is put afterwards, and behind the last one there is room (media/kernels/planes.ts). `starts`: whether the line starts with its colour.
 */
@inline
function linearLine(line: i32, starts: bool): void {
  const p = starts ? 0 : 1;
  const red = isRed(line);
  const place = placeOf(line);
  const outOwn = held((red ? outRed : outBlue) + place);
  const outMiddle = held(outGreen + place);
  const outThird = held((red ? outBlue : outRed) + place);
  const ownBy = heldFloat(red ? backRed : backBlue);
  const greenBy = heldFloat(backGreen);
  const thirdBy = heldFloat(red ? backBlue : backRed);
  const eighth = heldFloat(0.125), half = heldFloat(0.5), four = heldFloat(4), five = heldFloat(5), six = heldFloat(6), threeHalves = heldFloat(1.5);
  const c = at(line, C), cUp = at(line - 1, C), cDown = at(line + 1, C), cUp2 = at(line - 2, C), cDown2 = at(line + 2, C);
  const g = at(line, G), gUp = at(line - 1, G), gDown = at(line + 1, G), gUp2 = at(line - 2, G), gDown2 = at(line + 2, G);
  const end = held(usize(MARGIN << 1) + (usize((cropWidth + 1) >> 1) << 2));
  let to: usize = 0;
  for (let o = usize(MARGIN << 1); o < end; o += 16, to += 32) {
    const cc = v128.load(c + o);
    // Around a pixel of the line's colour.
    const far = add(add(beside(c + o, -1), beside(c + o, 1)), add(v128.load(cUp2 + o), v128.load(cDown2 + o)));
    const cross = add(add(beside(g + o, p - 1), beside(g + o, p)), add(v128.load(gUp + o), v128.load(gDown + o)));
    const green = mul(sub(add(mul(cc, four), add(cross, cross)), far), eighth);
    const corners = add(add(beside(cUp + o, p - 1), beside(cUp + o, p)), add(beside(cDown + o, p - 1), beside(cDown + o, p)));
    const opposite = mul(sub(add(mul(cc, six), add(corners, corners)), mul(far, threeHalves)), eighth);
    // Around a green pixel.
    const gg = v128.load(g + o);
    const gAcross = add(beside(g + o, -1), beside(g + o, 1));
    const gAlong = add(v128.load(gUp2 + o), v128.load(gDown2 + o));
    const gCorners = add(add(beside(gUp + o, -p), beside(gUp + o, 1 - p)), add(beside(gDown + o, -p), beside(gDown + o, 1 - p)));
    const core = sub(mul(gg, five), gCorners);
    const own = mul(add(sub(add(core, mul(add(beside(c + o, -p), beside(c + o, 1 - p)), four)), gAcross), mul(gAlong, half)), eighth);
    const other = mul(add(sub(add(core, mul(add(v128.load(cUp + o), v128.load(cDown + o)), four)), gAlong), mul(gAcross, half)), eighth);
    zip(starts ? cc : own, starts ? own : cc, ownBy, outOwn + to);
    zip(starts ? green : gg, starts ? gg : green, greenBy, outMiddle + to);
    zip(starts ? opposite : other, starts ? other : opposite, thirdBy, outThird + to);
  }
}
function linearFromColour(line: i32): void {
  linearLine(line, true);
}
function linearFromGreen(line: i32): void {
  linearLine(line, false);
}

/**
 * Levels and linear demosaic of lines `first` to `end` (not included) of the crop, into the three planes from their beginning. Bands of a frame
 * come in their order, since each goes on with the lines that the ring holds; one that begins with 0 begins again.
 */
export function linear(plan: usize, first: i32, end: i32): void {
  open(plan);
  bandTop = cropTop + first;
  const reach = 2;
  for (let line = bandTop + (first == 0 ? -reach : reach); line < cropTop + end + reach; line++) {
    take(line, false);
    const done = line - reach;
    if (done < bandTop) continue;
    if (phase(done) == 0) linearFromColour(done);
    else linearFromGreen(done);
  }
}

/** Of the line's colour, as it looks from the middle of the blocks: three quarters of the own and one of the next one beyond the middle, both ways. */
function middle(line: i32, beyond: i32, to: usize): void {
  const next = phase(line) == 0 ? 1 : -1;
  const own = at(line, C);
  const other = at(beyond, C);
  const three = heldFloat(3), sixteenth = heldFloat(0.0625);
  const values = halfLine;
  for (let i = 0; i < values; i += 4) {
    const o = usize(i) << 2;
    const near = add(mul(v128.load(own + o), three), beside(own + o, next));
    const far = add(mul(v128.load(other + o), three), beside(other + o, next));
    v128.store(to + o, mul(add(mul(near, three), far), sixteenth));
  }
}

/** media/raw/demosaic/half.ts: a value of each colour for every block of the lines `line` and `line + 1`. */
function blocks(line: i32): void {
  const red = isRed(line);
  middle(line, line + 2, at(line, red ? OWN : OTHER));
  middle(line + 1, line - 1, at(line, red ? OTHER : OWN));
  const one = at(line, G);
  const other = at(line + 1, G);
  const green = at(line, GREEN);
  const half = heldFloat(0.5);
  const values = halfLine;
  for (let i = 0; i < values; i += 4) {
    const o = usize(i) << 2;
    v128.store(green + o, mul(add(v128.load(one + o), v128.load(other + o)), half));
  }
}

/** A line of blocks, out of balance again. */
function giveBlocks(from: usize, by: f32, out: usize): void {
  const values = from + (usize(MARGIN) << 1);
  for (let x = 0; x < cropWidth >> 1; x++) store<f32>(out + (usize(x) << 2), load<f32>(values + (usize(x) << 2)) * by);
}

/** A line of the planes, each value of its blocks for two pixels, as `linearLine` puts them. */
function spreadBlocks(from: usize, by: f32, out: usize): void {
  const factor = f32x4.splat(by);
  const end = usize(MARGIN << 1) + (usize((cropWidth + 1) >> 1) << 2);
  for (let o = usize(MARGIN << 1); o < end; o += 16, out += 32) {
    const values = v128.load(from + o);
    zip(values, values, factor, out);
  }
}

/** Levels and a value for each block, as `linear` is called: blocks begin with the crop, and each of their pixels gets it. */
export function half(plan: usize, first: i32, end: i32): void {
  open(plan);
  bandTop = cropTop + first;
  const reach = 2;
  for (let line = bandTop + (first == 0 ? -reach : reach); line < cropTop + end + reach; line++) {
    take(line, false);
    const done = line - reach;
    if (done < bandTop) continue;
    // The second line of a block has what was computed for its first, also where that one was the last of the band before.
    const top = done - ((done - cropTop) & 1);
    if (done == top) blocks(top);
    const out = placeOf(done);
    spreadBlocks(at(top, OWN), backRed, outRed + out);
    spreadBlocks(at(top, GREEN), backGreen, outGreen + out);
    spreadBlocks(at(top, OTHER), backBlue, outBlue + out);
  }
}

/** The same with one value for each block: `first` and `end` count lines of blocks. */
export function halved(plan: usize, first: i32, end: i32): void {
  open(plan);
  bandTop = cropTop + 2 * first;
  const reach = 2;
  for (let line = bandTop + (first == 0 ? -reach : reach); line < cropTop + 2 * end + reach; line++) {
    take(line, false);
    const top = line - reach - 1;
    if (top < bandTop || ((top - cropTop) & 1) != 0) continue;
    blocks(top);
    const out = usize((top - bandTop) >> 1) * usize(cropWidth >> 1) << 2;
    giveBlocks(at(top, OWN), backRed, outRed + out);
    giveBlocks(at(top, GREEN), backGreen, outGreen + out);
    giveBlocks(at(top, OTHER), backBlue, outBlue + out);
  }
}

/** Between the two values, and half of their distance beyond. */
@inline
function bounded(value: v128, one: v128, other: v128, half: v128): v128 {
  const low = f32x4.pmin(one, other);
  const high = f32x4.pmax(one, other);
  const slack = mul(sub(high, low), half);
  return f32x4.pmin(f32x4.pmax(value, sub(low, slack)), add(high, slack));
}

/** Green on both ways, as what is left of the colour: c - green across and c - green down. */
function differences(line: i32): void {
  const p = phase(line);
  const c = at(line, C);
  const g = at(line, G);
  const gUp = at(line - 1, G);
  const gDown = at(line + 1, G);
  const cUp = at(line - 2, C);
  const cDown = at(line + 2, C);
  const h = at(line, CH);
  const v = at(line, CV);
  const half = heldFloat(0.5), quarter = heldFloat(0.25);
  const values = halfLine;
  for (let i = 0; i < values; i += 4) {
    const o = usize(i) << 2;
    const cc = v128.load(c + o);
    const halfC = mul(cc, half);
    const left = beside(g + o, p - 1);
    const right = beside(g + o, p);
    const up = v128.load(gUp + o);
    const down = v128.load(gDown + o);
    const across = add(mul(add(left, right), half), sub(halfC, mul(add(beside(c + o, -1), beside(c + o, 1)), quarter)));
    const along = add(mul(add(up, down), half), sub(halfC, mul(add(v128.load(cUp + o), v128.load(cDown + o)), quarter)));
    v128.store(h + o, sub(cc, bounded(across, left, right, half)));
    v128.store(v + o, sub(cc, bounded(along, up, down, half)));
  }
}

@inline
function step(a: v128, b: v128): v128 {
  return f32x4.abs(f32x4.sub(a, b));
}

/** `part` of one, the rest of the other. */
@inline
function blend(one: v128, other: v128, part: v128): v128 {
  return f32x4.add(other, f32x4.mul(part, f32x4.sub(one, other)));
}

/** How much each way counts, by how little the colour difference changes on it, and green so. */
function decide(line: i32): void {
  const p = phase(line);
  const h = at(line, CH);
  const hUp = at(line - 1, CH);
  const hDown = at(line + 1, CH);
  const hUp2 = at(line - 2, CH);
  const hDown2 = at(line + 2, CH);
  const v = at(line, CV);
  const vUp = at(line - 1, CV);
  const vDown = at(line + 1, CV);
  const vUp2 = at(line - 2, CV);
  const vDown2 = at(line + 2, CV);
  const c = at(line, C);
  const across = at(line, ACROSS);
  const green = at(line, GREEN);
  const least = heldFloat(<f32>1e-4), three = heldFloat(3);
  const values = halfLine;
  for (let i = 0; i < values; i += 4) {
    const o = usize(i) << 2;
    const h0 = v128.load(h + o);
    const u0 = v128.load(hUp2 + o);
    const d0 = v128.load(hDown2 + o);
    let ofH = mul(add(step(h0, beside(h + o, -1)), step(h0, beside(h + o, 1))), three);
    ofH = add(ofH, add(step(beside(hUp + o, p - 1), beside(hUp + o, p)), step(beside(hDown + o, p - 1), beside(hDown + o, p))));
    ofH = add(ofH, add(add(step(u0, beside(hUp2 + o, -1)), step(u0, beside(hUp2 + o, 1))), add(step(d0, beside(hDown2 + o, -1)), step(d0, beside(hDown2 + o, 1)))));
    const v0 = v128.load(v + o);
    const vl = beside(v + o, -1);
    const vr = beside(v + o, 1);
    let ofV = mul(add(step(v0, v128.load(vUp2 + o)), step(v0, v128.load(vDown2 + o))), three);
    ofV = add(ofV, add(step(beside(vUp + o, p - 1), beside(vDown + o, p - 1)), step(beside(vUp + o, p), beside(vDown + o, p))));
    ofV = add(ofV, add(add(step(vl, beside(vUp2 + o, -1)), step(vl, beside(vDown2 + o, -1))), add(step(vr, beside(vUp2 + o, 1)), step(vr, beside(vDown2 + o, 1)))));
    const calmH = add(ofV, least);
    const calmV = add(ofH, least);
    const squareH = f32x4.mul(calmH, calmH);
    const part = f32x4.div(squareH, add(squareH, f32x4.mul(calmV, calmV)));
    v128.store(across + o, part);
    v128.store(green + o, sub(v128.load(c + o), blend(h0, v0, part)));
  }
}

/** Red and blue at the green pixels of a line: their differences to green, halfway between the two nearest of each. */
function fillGreens(line: i32): void {
  const p = phase(line);
  const c = at(line, C);
  const green = at(line, GREEN);
  const cUp = at(line - 1, C);
  const cDown = at(line + 1, C);
  const greenUp = at(line - 1, GREEN);
  const greenDown = at(line + 1, GREEN);
  const g = at(line, G);
  const own = at(line, OWN);
  const other = at(line, OTHER);
  const half = heldFloat(0.5);
  const values = halfLine;
  for (let i = 0; i < values; i += 4) {
    const o = usize(i) << 2;
    const gg = v128.load(g + o);
    v128.store(own + o, add(gg, mul(add(sub(beside(c + o, -p), beside(green + o, -p)), sub(beside(c + o, 1 - p), beside(green + o, 1 - p))), half)));
    v128.store(other + o, add(gg, mul(add(sub(v128.load(cUp + o), v128.load(greenUp + o)), sub(v128.load(cDown + o), v128.load(greenDown + o))), half)));
  }
}

/** The third colour at the line's own pixels, and green once more from the differences beside it, both ways by their parts. */
function refineColours(line: i32): void {
  const p = phase(line);
  const c = at(line, C);
  const g = at(line, G);
  const gUp = at(line - 1, G);
  const gDown = at(line + 1, G);
  const own = at(line, OWN);
  const other = at(line, OTHER);
  const ownUp = at(line - 1, OWN);
  const otherUp = at(line - 1, OTHER);
  const ownDown = at(line + 1, OWN);
  const otherDown = at(line + 1, OTHER);
  const across = at(line, ACROSS);
  const green = at(line, GREEN);
  const opposite = at(line, OPPOSITE);
  const half = heldFloat(0.5), quarter = heldFloat(0.25);
  const values = halfLine;
  for (let i = 0; i < values; i += 4) {
    const o = usize(i) << 2;
    const part = v128.load(across + o);
    const cc = v128.load(c + o);
    const ownLeft = beside(own + o, p - 1);
    const ownRight = beside(own + o, p);
    const thirdH = add(sub(beside(other + o, p - 1), ownLeft), sub(beside(other + o, p), ownRight));
    const thirdV = add(sub(v128.load(ownUp + o), v128.load(otherUp + o)), sub(v128.load(ownDown + o), v128.load(otherDown + o)));
    v128.store(opposite + o, add(cc, mul(blend(thirdH, thirdV, part), half)));
    const differenceH = add(sub(ownLeft, beside(g + o, p - 1)), sub(ownRight, beside(g + o, p)));
    const differenceV = add(sub(v128.load(otherUp + o), v128.load(gUp + o)), sub(v128.load(otherDown + o), v128.load(gDown + o)));
    const here = sub(cc, v128.load(green + o));
    v128.store(green + o, sub(cc, add(mul(blend(differenceH, differenceV, part), quarter), mul(here, half))));
  }
}

/** The third colour once more from its differences to the line's own; then all of them off the curve and out of balance, as `linearLine` puts them. */
@inline
function finish(line: i32, starts: bool): void {
  const p = starts ? 0 : 1;
  const red = isRed(line);
  const place = placeOf(line);
  const outOwn = held((red ? outRed : outBlue) + place);
  const outMiddle = held(outGreen + place);
  const outThird = held((red ? outBlue : outRed) + place);
  const ownBy = heldFloat(red ? backRed : backBlue);
  const greenBy = heldFloat(backGreen);
  const thirdBy = heldFloat(red ? backBlue : backRed);
  const half = heldFloat(0.5), quarter = heldFloat(0.25), slope = heldFloat(2 * ROOT);
  const c = at(line, C), g = at(line, G), green = at(line, GREEN);
  const own = at(line, OWN), ownUp = at(line - 1, OWN), ownDown = at(line + 1, OWN);
  const other = at(line, OTHER), otherUp = at(line - 1, OTHER), otherDown = at(line + 1, OTHER);
  const across = at(line, ACROSS), opposite = at(line, OPPOSITE);
  const end = held(usize(MARGIN << 1) + (usize((cropWidth + 1) >> 1) << 2));
  let to: usize = 0;
  for (let o = usize(MARGIN << 1); o < end; o += 16, to += 32) {
    const cc = v128.load(c + o);
    const h = add(sub(beside(other + o, p - 1), beside(own + o, p - 1)), sub(beside(other + o, p), beside(own + o, p)));
    const v = add(sub(v128.load(ownUp + o), v128.load(otherUp + o)), sub(v128.load(ownDown + o), v128.load(otherDown + o)));
    const here = sub(v128.load(opposite + o), cc);
    const third = offCurve(add(cc, add(mul(blend(h, v, v128.load(across + o)), quarter), mul(here, half))), slope);
    const linearC = offCurve(cc, slope), linearOwn = offCurve(v128.load(own + o), slope), linearOther = offCurve(v128.load(other + o), slope);
    const linearGreen = offCurve(v128.load(green + o), slope), linearG = offCurve(v128.load(g + o), slope);
    zip(starts ? linearC : linearOwn, starts ? linearOwn : linearC, ownBy, outOwn + to);
    zip(starts ? linearGreen : linearG, starts ? linearG : linearGreen, greenBy, outMiddle + to);
    zip(starts ? third : linearOther, starts ? linearOther : third, thirdBy, outThird + to);
  }
}
function finishFromColour(line: i32): void {
  finish(line, true);
}
function finishFromGreen(line: i32): void {
  finish(line, false);
}

/**
 * Levels and fine demosaic, as `linear` is called. Each stage runs as far behind the one before it as it reaches down; refined values take
 * the place of those they were made from, which nobody needs any more.
 */
export function fine(plan: usize, first: i32, end: i32): void {
  open(plan);
  bandTop = cropTop + first;
  const reach = 8;
  for (let line = bandTop + (first == 0 ? -reach : reach); line < cropTop + end + reach; line++) {
    take(line, true);
    differences(line - 2);
    decide(line - 4);
    fillGreens(line - 5);
    refineColours(line - 6);
    fillGreens(line - 7);
    const done = line - reach;
    if (done < bandTop) continue;
    if (phase(done) == 0) finishFromColour(done);
    else finishFromGreen(done);
  }
}

const NEARLY_FULL: f32 = 0.875;

/** 0 up to NEARLY_FULL, 1 from 1 on, 3t² − 2t³ between them. */
@inline
function fullness(value: v128): v128 {
  const t = f32x4.pmin(f32x4.pmax(f32x4.mul(f32x4.sub(value, f32x4.splat(NEARLY_FULL)), f32x4.splat(8)), f32x4.splat(0)), f32x4.splat(1));
  return f32x4.mul(f32x4.mul(t, t), f32x4.sub(f32x4.splat(3), f32x4.add(t, t)));
}

/** Towards grey by so much. Rounding alone could bring the brightest channel below what it was. */
@inline
function led(value: v128, full: v128, grey: v128): v128 {
  return f32x4.pmax(value, f32x4.add(value, f32x4.mul(full, f32x4.sub(grey, value))));
}

/**
 * Linear camera values to AP0 in place. `factors`: 9 of the matrix (rows, exposure included), 3 of the neutral, 3 of its
 * reciprocals, all f32. `policy`: what is done to full pixels before (media/raw/develop/highlights.ts): 0 keep, 1 neutral, 2 by-channel.
 */
export function toAp0(r: usize, g: usize, b: usize, count: i32, factors: usize, policy: i32): void {
  const m00 = v128.load32_splat(factors);
  const m01 = v128.load32_splat(factors, 4);
  const m02 = v128.load32_splat(factors, 8);
  const m10 = v128.load32_splat(factors, 12);
  const m11 = v128.load32_splat(factors, 16);
  const m12 = v128.load32_splat(factors, 20);
  const m20 = v128.load32_splat(factors, 24);
  const m21 = v128.load32_splat(factors, 28);
  const m22 = v128.load32_splat(factors, 32);
  const n0 = v128.load32_splat(factors, 36);
  const n1 = v128.load32_splat(factors, 40);
  const n2 = v128.load32_splat(factors, 44);
  const i0 = v128.load32_splat(factors, 48);
  const i1 = v128.load32_splat(factors, 52);
  const i2 = v128.load32_splat(factors, 56);
  for (let i = 0; i < count; i += 4) {
    const o = usize(i) << 2;
    let x = v128.load(r + o);
    let y = v128.load(g + o);
    let z = v128.load(b + o);
    if (policy) {
      const fullest = f32x4.pmax(f32x4.pmax(x, y), z);
      if (v128.any_true(f32x4.gt(fullest, f32x4.splat(NEARLY_FULL)))) {
        const all = fullness(fullest);
        const brightest = f32x4.pmax(f32x4.pmax(f32x4.mul(x, i0), f32x4.mul(y, i1)), f32x4.mul(z, i2));
        x = led(x, policy == 1 ? all : fullness(x), f32x4.mul(brightest, n0));
        y = led(y, policy == 1 ? all : fullness(y), f32x4.mul(brightest, n1));
        z = led(z, policy == 1 ? all : fullness(z), f32x4.mul(brightest, n2));
      }
    }
    v128.store(r + o, f32x4.add(f32x4.add(f32x4.mul(m00, x), f32x4.mul(m01, y)), f32x4.mul(m02, z)));
    v128.store(g + o, f32x4.add(f32x4.add(f32x4.mul(m10, x), f32x4.mul(m11, y)), f32x4.mul(m12, z)));
    v128.store(b + o, f32x4.add(f32x4.add(f32x4.mul(m20, x), f32x4.mul(m21, y)), f32x4.mul(m22, z)));
  }
}

/**
 * Levels of a picture of which every pixel has red, green and blue beside each other (media/raw/develop/levels.ts, linearPixels): lines `first` to `end` of
 * the crop. `plan`: u32 the crop's first sample, samples from line to line, 1 for f32 samples and 0 for u16, the crop's width, its top in the active
 * area, the table or 0, black of a line of the crop (f32, sample by sample), its rows, the deltas of rows, the planes R, G, B; three f32 of scale.
 */
export function three(plan: usize, first: i32, end: i32): void {
  const samples = usize(load<u32>(plan));
  const step = load<i32>(plan, 4);
  const float = load<i32>(plan, 8) != 0;
  const width = load<i32>(plan, 12);
  const top = load<i32>(plan, 16);
  const linear = usize(load<u32>(plan, 20));
  const black = usize(load<u32>(plan, 24));
  const rows = load<i32>(plan, 28);
  const deltas = usize(load<u32>(plan, 32));
  for (let c = 0; c < 3; c++) {
    let out = usize(load<u32>(plan + 36 + (usize(c) << 2)));
    const scale = load<f32>(plan + 48 + (usize(c) << 2));
    for (let line = first; line < end; line++) {
      const y = top + line;
      const delta = load<f32>(deltas + (usize(y) << 2));
      let b = black + ((usize(y % rows) * usize(width) * 3 + usize(c)) << 2);
      let at = usize(line) * usize(step) + usize(c);
      for (let x = 0; x < width; x++) {
        let value: f32;
        if (float) value = load<f32>(samples + (at << 2));
        else {
          const code = usize(load<u16>(samples + (at << 1)));
          value = linear != 0 ? load<f32>(linear + (code << 2)) : f32(code);
        }
        store<f32>(out, (value - load<f32>(b) - delta) * scale);
        at += 3;
        b += 12;
        out += 4;
      }
    }
  }
}
