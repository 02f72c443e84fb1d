/** The demosaic that media/raw/demosaic/linear.ts states, with its reference in double precision. */
import { held, heldFloat } from './common-held';
import { C, G, MARGIN, add, at, backBlue, backGreen, backRed, bandTop, beside, cropTop, cropWidth, isRed, mul, open, outBlue, outGreen, outRed, phase, placeOf, ring, sub, take, zip } from './common-mosaic';

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
  open(plan, first);
  const reach = 2;
  for (let line = bandTop + (first == 0 ? -reach : reach); line < cropTop + end + reach; line++) {
    take(line, false);
    const done = line - reach;
    if (done < bandTop) continue;
    if (phase(done) == 0) linearFromColour(done);
    else linearFromGreen(done);
  }
}
