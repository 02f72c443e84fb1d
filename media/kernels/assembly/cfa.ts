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
/** Whether lines of the ring hold values on the curve of `fine`. */
let curved: bool = false;
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
  return ring + (usize(line & (RING - 1)) * KINDS + kind) * pitch + (PAD << 2);
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
function onCurve(value: v128): v128 {
  if (!curved) return value;
  const none = f32x4.splat(0);
  const above = f32x4.pmax(none, value);
  const below = f32x4.pmin(none, value);
  const rooted = f32x4.div(above, f32x4.add(f32x4.sqrt(f32x4.add(above, f32x4.splat(CURVE))), f32x4.splat(ROOT)));
  return f32x4.add(rooted, f32x4.mul(below, f32x4.splat(1 / (2 * ROOT))));
}

@inline
function offCurve(value: v128): v128 {
  if (!curved) return value;
  return f32x4.mul(value, f32x4.add(f32x4.splat(2 * ROOT), f32x4.pmax(value, f32x4.splat(0))));
}

@inline
function offCurveOne(value: f32): f32 {
  return curved ? value * (2 * ROOT + max<f32>(value, 0)) : value;
}

/** One line of a mosaic that is linear already, balanced. */
function takeValues(line: i32, y: i32): void {
  gatherValues(mosaic + (usize(y) * usize(activeWidth) << 2), cropLeft - MARGIN, halfLine << 1);
  const starts = phase(line) == 0;
  const even = at(line, starts ? C : G);
  const odd = at(line, starts ? G : C);
  const colour: f32 = 1 / (isRed(line) ? backRed : backBlue);
  const green: f32 = 1 / backGreen;
  const evenGain = f32x4.splat(starts ? colour : green);
  const oddGain = f32x4.splat(starts ? green : colour);
  for (let i = 0; i < halfLine; i += 4) {
    const p = lineCodes + (usize(i) << 3);
    const a = v128.load(p);
    const b = v128.load(p, 16);
    v128.store(even + (usize(i) << 2), onCurve(f32x4.mul(v128.shuffle<f32>(a, b, 0, 2, 4, 6), evenGain)));
    v128.store(odd + (usize(i) << 2), onCurve(f32x4.mul(v128.shuffle<f32>(a, b, 1, 3, 5, 7), oddGain)));
  }
}

/** One line from codes to balanced values: (linearised - black) times scale and gain of its colour. */
function take(line: i32): void {
  const y = fold(line, activeHeight);
  if (mosaic != 0) {
    takeValues(line, y);
    return;
  }
  gather(codes + (usize(y) * usize(stride) << 1), cropLeft - MARGIN, halfLine << 1);
  const black = blacks + ((usize(y % blackRows) * usize(halfLine)) << 3);
  const delta = f32x4.splat(load<f32>(rowDeltas + (usize(y) << 2)));
  const colour = isRed(line) ? gainRed : gainBlue;
  const starts = phase(line) == 0;
  const even = at(line, starts ? C : G);
  const odd = at(line, starts ? G : C);
  const evenGain = f32x4.splat(starts ? colour : gainGreen);
  const oddGain = f32x4.splat(starts ? gainGreen : colour);
  const zero = i16x8.splat(0);
  for (let i = 0; i < halfLine; i += 4) {
    const p = lineCodes + (usize(i) << 2);
    let a: v128;
    let b: v128;
    if (table != 0) {
      a = looked(p);
      b = looked(p + 8);
    } else {
      const v = v128.load(p);
      a = f32x4.convert_i32x4_u(i32x4.extend_low_i16x8_u(v));
      b = f32x4.convert_i32x4_u(i32x4.extend_high_i16x8_u(v));
    }
    a = f32x4.sub(f32x4.sub(a, v128.load(black + (usize(i) << 3))), delta);
    b = f32x4.sub(f32x4.sub(b, v128.load(black + (usize(i) << 3) + 16)), delta);
    v128.store(even + (usize(i) << 2), onCurve(f32x4.mul(v128.shuffle<f32>(a, b, 0, 2, 4, 6), evenGain)));
    v128.store(odd + (usize(i) << 2), onCurve(f32x4.mul(v128.shuffle<f32>(a, b, 1, 3, 5, 7), oddGain)));
  }
}

/** One finished plane of a line: two half lines zipped together, times `by`. */
function zip(evens: usize, odds: usize, by: f32, out: usize): void {
  const factor = f32x4.splat(by);
  const skip = usize(MARGIN) << 1;
  let p = evens + skip;
  let q = odds + skip;
  const whole = cropWidth & ~7;
  for (let x = 0; x < whole; x += 8) {
    const a = f32x4.mul(offCurve(v128.load(p)), factor);
    const b = f32x4.mul(offCurve(v128.load(q)), factor);
    v128.store(out, v128.shuffle<f32>(a, b, 0, 4, 1, 5));
    v128.store(out, v128.shuffle<f32>(a, b, 2, 6, 3, 7), 16);
    p += 16;
    q += 16;
    out += 32;
  }
  for (let x = whole; x < cropWidth; x += 2) {
    store<f32>(out, offCurveOne(load<f32>(p)) * by);
    if (x + 1 < cropWidth) store<f32>(out, offCurveOne(load<f32>(q)) * by, 4);
    p += 4;
    q += 4;
    out += 8;
  }
}

/** A line whose colours are all there, out of balance again. `opposite` is the third colour where the line's own was seen. */
function give(line: i32): void {
  const starts = phase(line) == 0;
  const red = isRed(line);
  const out = usize(line - bandTop) * usize(cropWidth) << 2;
  const c = at(line, C);
  const own = at(line, OWN);
  const opposite = at(line, OPPOSITE);
  const other = at(line, OTHER);
  const green = at(line, GREEN);
  const g = at(line, G);
  zip(starts ? c : own, starts ? own : c, red ? backRed : backBlue, (red ? outRed : outBlue) + out);
  zip(starts ? green : g, starts ? g : green, backGreen, outGreen + out);
  zip(starts ? opposite : other, starts ? other : opposite, red ? backBlue : backRed, (red ? outBlue : outRed) + out);
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
function mul(a: v128, by: f32): v128 {
  return f32x4.mul(a, f32x4.splat(by));
}
/** The value beside: `index` values further on. */
@inline
function beside(p: usize, index: i32): v128 {
  return v128.load(p + (usize(index) << 2));
}

/** media/raw/demosaic/linear.ts, one line. */
function linearLine(line: i32): void {
  const p = phase(line);
  const left = p - 1;
  const right = p;
  for (let i = 0; i < halfLine; i += 4) {
    const o = usize(i) << 2;
    const c = at(line, C) + o;
    const g = at(line, G) + o;
    const cUp2 = v128.load(at(line - 2, C) + o);
    const cDown2 = v128.load(at(line + 2, C) + o);
    const cc = v128.load(c);
    // Around a pixel of the line's colour.
    const far = add(add(beside(c, -1), beside(c, 1)), add(cUp2, cDown2));
    const cross = add(add(beside(g, left), beside(g, right)), add(v128.load(at(line - 1, G) + o), v128.load(at(line + 1, G) + o)));
    v128.store(at(line, GREEN) + o, mul(sub(add(mul(cc, 4), mul(cross, 2)), far), 0.125));
    const up = at(line - 1, C) + o;
    const down = at(line + 1, C) + o;
    const corners = add(add(beside(up, left), beside(up, right)), add(beside(down, left), beside(down, right)));
    v128.store(at(line, OPPOSITE) + o, mul(sub(add(mul(cc, 6), mul(corners, 2)), mul(far, 1.5)), 0.125));
    // Around a green pixel.
    const gg = v128.load(g);
    const gAcross = add(beside(g, -1), beside(g, 1));
    const gDown = add(v128.load(at(line - 2, G) + o), v128.load(at(line + 2, G) + o));
    const gUp1 = at(line - 1, G) + o;
    const gDown1 = at(line + 1, G) + o;
    const gCorners = add(add(beside(gUp1, -p), beside(gUp1, 1 - p)), add(beside(gDown1, -p), beside(gDown1, 1 - p)));
    const core = sub(mul(gg, 5), gCorners);
    v128.store(at(line, OWN) + o, mul(add(sub(add(core, mul(add(beside(c, -p), beside(c, 1 - p)), 4)), gAcross), mul(gDown, 0.5)), 0.125));
    v128.store(at(line, OTHER) + o, mul(add(sub(add(core, mul(add(v128.load(up), v128.load(down)), 4)), gDown), mul(gAcross, 0.5)), 0.125));
  }
}

/**
 * Levels and linear demosaic of lines `first` to `end` (not included) of the crop, into the three planes from their beginning. Bands of a frame
 * come in their order, since each goes on with the lines that the ring holds; one that begins with 0 begins again.
 */
export function linear(plan: usize, first: i32, end: i32): void {
  open(plan);
  curved = false;
  bandTop = cropTop + first;
  const reach = 2;
  for (let line = bandTop + (first == 0 ? -reach : reach); line < cropTop + end + reach; line++) {
    take(line);
    const done = line - reach;
    if (done >= bandTop) {
      linearLine(done);
      give(done);
    }
  }
}

/** Of the line's colour, as it looks from the middle of the blocks: three quarters of the own and one of the next one beyond the middle, both ways. */
function middle(line: i32, beyond: i32, to: usize): void {
  const next = phase(line) == 0 ? 1 : -1;
  const own = at(line, C);
  const other = at(beyond, C);
  for (let i = 0; i < halfLine; i += 4) {
    const o = usize(i) << 2;
    const near = add(mul(v128.load(own + o), 3), beside(own + o, next));
    const far = add(mul(v128.load(other + o), 3), beside(other + o, next));
    v128.store(to + o, mul(add(mul(near, 3), far), 0.0625));
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
  for (let i = 0; i < halfLine; i += 4) {
    const o = usize(i) << 2;
    v128.store(green + o, mul(add(v128.load(one + o), v128.load(other + o)), 0.5));
  }
}

/** A line of blocks, out of balance again. */
function giveBlocks(from: usize, by: f32, out: usize): void {
  const values = from + (usize(MARGIN) << 1);
  for (let x = 0; x < cropWidth >> 1; x++) store<f32>(out + (usize(x) << 2), load<f32>(values + (usize(x) << 2)) * by);
}

/** Levels and a value for each block, as `linear` is called: blocks begin with the crop, and each of their pixels gets it. */
export function half(plan: usize, first: i32, end: i32): void {
  open(plan);
  curved = false;
  bandTop = cropTop + first;
  const reach = 2;
  for (let line = bandTop + (first == 0 ? -reach : reach); line < cropTop + end + reach; line++) {
    take(line);
    const done = line - reach;
    if (done < bandTop) continue;
    const top = done - ((done - cropTop) & 1);
    blocks(top);
    const out = usize(done - bandTop) * usize(cropWidth) << 2;
    zip(at(top, OWN), at(top, OWN), backRed, outRed + out);
    zip(at(top, GREEN), at(top, GREEN), backGreen, outGreen + out);
    zip(at(top, OTHER), at(top, OTHER), backBlue, outBlue + out);
  }
}

/** The same with one value for each block: `first` and `end` count lines of blocks. */
export function halved(plan: usize, first: i32, end: i32): void {
  open(plan);
  curved = false;
  bandTop = cropTop + 2 * first;
  const reach = 2;
  for (let line = bandTop + (first == 0 ? -reach : reach); line < cropTop + 2 * end + reach; line++) {
    take(line);
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
function bounded(value: v128, one: v128, other: v128): v128 {
  const low = f32x4.pmin(one, other);
  const high = f32x4.pmax(one, other);
  const slack = mul(sub(high, low), 0.5);
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
  for (let i = 0; i < halfLine; i += 4) {
    const o = usize(i) << 2;
    const cc = v128.load(c + o);
    const halfC = mul(cc, 0.5);
    const left = beside(g + o, p - 1);
    const right = beside(g + o, p);
    const up = v128.load(gUp + o);
    const down = v128.load(gDown + o);
    const across = add(mul(add(left, right), 0.5), sub(halfC, mul(add(beside(c + o, -1), beside(c + o, 1)), 0.25)));
    const along = add(mul(add(up, down), 0.5), sub(halfC, mul(add(v128.load(cUp + o), v128.load(cDown + o)), 0.25)));
    v128.store(h + o, sub(cc, bounded(across, left, right)));
    v128.store(v + o, sub(cc, bounded(along, up, down)));
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
  const least = f32x4.splat(<f32>1e-4);
  for (let i = 0; i < halfLine; i += 4) {
    const o = usize(i) << 2;
    const h0 = v128.load(h + o);
    const u0 = v128.load(hUp2 + o);
    const d0 = v128.load(hDown2 + o);
    let ofH = mul(add(step(h0, beside(h + o, -1)), step(h0, beside(h + o, 1))), 3);
    ofH = add(ofH, add(step(beside(hUp + o, p - 1), beside(hUp + o, p)), step(beside(hDown + o, p - 1), beside(hDown + o, p))));
    ofH = add(ofH, add(add(step(u0, beside(hUp2 + o, -1)), step(u0, beside(hUp2 + o, 1))), add(step(d0, beside(hDown2 + o, -1)), step(d0, beside(hDown2 + o, 1)))));
    const v0 = v128.load(v + o);
    const vl = beside(v + o, -1);
    const vr = beside(v + o, 1);
    let ofV = mul(add(step(v0, v128.load(vUp2 + o)), step(v0, v128.load(vDown2 + o))), 3);
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
  for (let i = 0; i < halfLine; i += 4) {
    const o = usize(i) << 2;
    const gg = v128.load(g + o);
    v128.store(own + o, add(gg, mul(add(sub(beside(c + o, -p), beside(green + o, -p)), sub(beside(c + o, 1 - p), beside(green + o, 1 - p))), 0.5)));
    v128.store(other + o, add(gg, mul(add(sub(v128.load(cUp + o), v128.load(greenUp + o)), sub(v128.load(cDown + o), v128.load(greenDown + o))), 0.5)));
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
  for (let i = 0; i < halfLine; i += 4) {
    const o = usize(i) << 2;
    const part = v128.load(across + o);
    const cc = v128.load(c + o);
    const ownLeft = beside(own + o, p - 1);
    const ownRight = beside(own + o, p);
    const thirdH = add(sub(beside(other + o, p - 1), ownLeft), sub(beside(other + o, p), ownRight));
    const thirdV = add(sub(v128.load(ownUp + o), v128.load(otherUp + o)), sub(v128.load(ownDown + o), v128.load(otherDown + o)));
    v128.store(opposite + o, add(cc, mul(blend(thirdH, thirdV, part), 0.5)));
    const differenceH = add(sub(ownLeft, beside(g + o, p - 1)), sub(ownRight, beside(g + o, p)));
    const differenceV = add(sub(v128.load(otherUp + o), v128.load(gUp + o)), sub(v128.load(otherDown + o), v128.load(gDown + o)));
    const here = sub(cc, v128.load(green + o));
    v128.store(green + o, sub(cc, add(mul(blend(differenceH, differenceV, part), 0.25), mul(here, 0.5))));
  }
}

/** The third colour once more from its differences to the line's own. */
function refineOpposite(line: i32): void {
  const p = phase(line);
  const c = at(line, C);
  const own = at(line, OWN);
  const other = at(line, OTHER);
  const ownUp = at(line - 1, OWN);
  const otherUp = at(line - 1, OTHER);
  const ownDown = at(line + 1, OWN);
  const otherDown = at(line + 1, OTHER);
  const across = at(line, ACROSS);
  const opposite = at(line, OPPOSITE);
  for (let i = 0; i < halfLine; i += 4) {
    const o = usize(i) << 2;
    const cc = v128.load(c + o);
    const h = add(sub(beside(other + o, p - 1), beside(own + o, p - 1)), sub(beside(other + o, p), beside(own + o, p)));
    const v = add(sub(v128.load(ownUp + o), v128.load(otherUp + o)), sub(v128.load(ownDown + o), v128.load(otherDown + o)));
    const here = sub(v128.load(opposite + o), cc);
    v128.store(opposite + o, add(cc, add(mul(blend(h, v, v128.load(across + o)), 0.25), mul(here, 0.5))));
  }
}

/**
 * Levels and fine demosaic, as `linear` is called. Each stage runs as far behind the one before it as it reaches down; refined values take
 * the place of those they were made from, which nobody needs any more.
 */
export function fine(plan: usize, first: i32, end: i32): void {
  open(plan);
  curved = true;
  bandTop = cropTop + first;
  const reach = 8;
  for (let line = bandTop + (first == 0 ? -reach : reach); line < cropTop + end + reach; line++) {
    take(line);
    differences(line - 2);
    decide(line - 4);
    fillGreens(line - 5);
    refineColours(line - 6);
    fillGreens(line - 7);
    const done = line - reach;
    if (done >= bandTop) {
      refineOpposite(done);
      give(done);
    }
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

/** Keys' cubic with a = -1/2 (IEEE Trans. ASSP 29(6), 1981): weights of the four values around a place that lies `part` beyond the second. */
@inline
function cubic(part: f32): v128 {
  const t = f32x4.splat(part);
  let w = f32x4.add(f32x4.mul(t, f32x4(-0.5, 1.5, -1.5, 0.5)), f32x4(1, -2.5, 2, -0.5));
  w = f32x4.add(f32x4.mul(t, w), f32x4(-0.5, 0, 0.5, 0));
  return f32x4.add(f32x4.mul(t, w), f32x4(0, 1, 0, 0));
}

/**
 * One plane warped, from `source` to `out`, `stride` values from line to line (DNG specification, WarpRectilinear). `factors`, f64: the centre's
 * column and row, the distance of the farthest corner, four radial and two tangential coefficients. Beyond an edge its last pixels go on.
 */
export function warp(source: usize, out: usize, stride: i32, width: i32, height: i32, factors: usize): void {
  const cx = load<f64>(factors);
  const cy = load<f64>(factors, 8);
  const far = load<f64>(factors, 16);
  const r0 = load<f64>(factors, 24);
  const r1 = load<f64>(factors, 32);
  const r2 = load<f64>(factors, 40);
  const r3 = load<f64>(factors, 48);
  const t0 = load<f64>(factors, 56);
  const t1 = load<f64>(factors, 64);
  const perPixel = 1 / far;
  for (let line = 0; line < height; line++) {
    const dy = (f64(line) - cy) * perPixel;
    let to = out + (usize(line) * usize(stride) << 2);
    for (let column = 0; column < width; column++, to += 4) {
      const dx = (f64(column) - cx) * perPixel;
      const q = dx * dx + dy * dy;
      const radial = r0 + q * (r1 + q * (r2 + q * r3));
      const sx = cx + far * (radial * dx + 2 * t0 * dx * dy + t1 * (q + 2 * dx * dx));
      const sy = cy + far * (radial * dy + 2 * t1 * dx * dy + t0 * (q + 2 * dy * dy));
      // Far outside all pixels are the last one; and a whole number has no room for more.
      const left = i32(max<f64>(-4, min<f64>(floor(sx), f64(width) + 4)));
      const top = i32(max<f64>(-4, min<f64>(floor(sy), f64(height) + 4)));
      const across = cubic(f32(sx - floor(sx)));
      const down = cubic(f32(sy - floor(sy)));
      let rows: v128;
      if (left >= 1 && top >= 1 && left + 2 < width && top + 2 < height) {
        let p = source + (usize((top - 1) * stride + left - 1) << 2);
        const pitch = usize(stride) << 2;
        rows = f32x4.mul(v128.load(p), v128.shuffle<f32>(down, down, 0, 0, 0, 0));
        p += pitch;
        rows = f32x4.add(rows, f32x4.mul(v128.load(p), v128.shuffle<f32>(down, down, 1, 1, 1, 1)));
        p += pitch;
        rows = f32x4.add(rows, f32x4.mul(v128.load(p), v128.shuffle<f32>(down, down, 2, 2, 2, 2)));
        p += pitch;
        rows = f32x4.add(rows, f32x4.mul(v128.load(p), v128.shuffle<f32>(down, down, 3, 3, 3, 3)));
      } else {
        rows = f32x4.splat(0);
        for (let j = 0; j < 4; j++) {
          const row = source + (usize(min(max(top - 1 + j, 0), height - 1) * stride) << 2);
          let values = f32x4.splat(load<f32>(row + (usize(min(max(left - 1, 0), width - 1)) << 2)));
          values = f32x4.replace_lane(values, 1, load<f32>(row + (usize(min(max(left, 0), width - 1)) << 2)));
          values = f32x4.replace_lane(values, 2, load<f32>(row + (usize(min(max(left + 1, 0), width - 1)) << 2)));
          values = f32x4.replace_lane(values, 3, load<f32>(row + (usize(min(max(left + 2, 0), width - 1)) << 2)));
          const weight = j == 0 ? f32x4.extract_lane(down, 0) : j == 1 ? f32x4.extract_lane(down, 1) : j == 2 ? f32x4.extract_lane(down, 2) : f32x4.extract_lane(down, 3);
          rows = f32x4.add(rows, f32x4.mul(values, f32x4.splat(weight)));
        }
      }
      const sum = f32x4.mul(rows, across);
      const pairs = f32x4.add(sum, v128.shuffle<f32>(sum, sum, 2, 3, 0, 1));
      store<f32>(to, f32x4.extract_lane(pairs, 0) + f32x4.extract_lane(pairs, 1));
    }
  }
}
