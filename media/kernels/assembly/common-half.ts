/** A value for each block of the mosaic, as media/raw/demosaic/half.ts states. */
import { heldFloat } from './common-held';
import { C, G, GREEN, MARGIN, OTHER, OWN, add, at, backBlue, backGreen, backRed, bandTop, beside, cropTop, cropWidth, halfLine, isRed, mul, open, outBlue, outGreen, outRed, phase, placeOf, take, zip } from './common-mosaic';

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
  open(plan, first);
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
  open(plan, 2 * first);
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
