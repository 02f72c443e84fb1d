/** The demosaic that media/raw/demosaic/fine.ts states, with its reference in double precision. */
import { held, heldFloat } from './common-held';
import { ACROSS, C, CH, CV, G, GREEN, MARGIN, OPPOSITE, OTHER, OWN, ROOT, add, at, backBlue, backGreen, backRed, bandTop, beside, cropTop, cropWidth, halfLine, isRed, mul, offCurve, open, outBlue, outGreen, outRed, phase, placeOf, sub, take, zip } from './common-mosaic';

/** Between the two values, and so much of their distance beyond. */
@inline
function bounded(value: v128, one: v128, other: v128, beyond: v128): v128 {
  const low = f32x4.pmin(one, other);
  const high = f32x4.pmax(one, other);
  const slack = mul(sub(high, low), beyond);
  return f32x4.pmin(f32x4.pmax(value, sub(low, slack)), add(high, slack));
}

/**
 * Green on both ways, as what is left of the colour: c - green across and c - green down. How steep the picture is on each waits for `decide` where that
 * puts its own afterwards: ACROSS and GREEN.
 */
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
  const steepAcross = at(line, ACROSS);
  const steepDown = at(line, GREEN);
  const half = heldFloat(0.5), quarter = heldFloat(0.25), beyond = heldFloat(0.75);
  const values = halfLine;
  for (let i = 0; i < values; i += 4) {
    const o = usize(i) << 2;
    const cc = v128.load(c + o);
    const twice = add(cc, cc);
    const left = beside(g + o, p - 1);
    const right = beside(g + o, p);
    const up = v128.load(gUp + o);
    const down = v128.load(gDown + o);
    const bendAcross = sub(twice, add(beside(c + o, -1), beside(c + o, 1)));
    const bendDown = sub(twice, add(v128.load(cUp + o), v128.load(cDown + o)));
    const across = add(mul(add(left, right), half), mul(bendAcross, quarter));
    const along = add(mul(add(up, down), half), mul(bendDown, quarter));
    v128.store(h + o, sub(cc, bounded(across, left, right, beyond)));
    v128.store(v + o, sub(cc, bounded(along, up, down, beyond)));
    v128.store(steepAcross + o, add(step(left, right), f32x4.abs(bendAcross)));
    v128.store(steepDown + o, add(step(up, down), f32x4.abs(bendDown)));
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

/** How much each way counts, by how little the colour difference and the picture change on it, and green so. */
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
    const calmH = add(add(ofV, v128.load(green + o)), least);
    const calmV = add(add(ofH, v128.load(across + o)), least);
    const cubeH = mul(mul(calmH, calmH), calmH);
    const part = f32x4.div(cubeH, add(cubeH, mul(mul(calmV, calmV), calmV)));
    v128.store(across + o, part);
    v128.store(green + o, sub(v128.load(c + o), blend(h0, v0, part)));
  }
}

/**
 * A colour at a green pixel, from the two nearest of it and what green is there: by their differences, or, by so much as these change more on the
 * way than the colour itself does, halfway between the two.
 */
@inline
function coloured(green: v128, one: v128, oneGreen: v128, other: v128, otherGreen: v128, half: v128, apart: v128, flat: v128): v128 {
  const oneLess = sub(one, oneGreen);
  const otherLess = sub(other, otherGreen);
  const byDifferences = add(green, mul(add(oneLess, otherLess), half));
  const change = sub(oneLess, otherLess);
  const loose = mul(mul(change, change), apart);
  const own = add(step(one, other), flat);
  return add(byDifferences, mul(sub(mul(add(one, other), half), byDifferences), f32x4.div(loose, add(loose, mul(own, own)))));
}

/** Red and blue at the green pixels of a line. */
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
  const half = heldFloat(0.5), apart = heldFloat(0.16), flat = heldFloat(0.02);
  const values = halfLine;
  for (let i = 0; i < values; i += 4) {
    const o = usize(i) << 2;
    const gg = v128.load(g + o);
    v128.store(own + o, coloured(gg, beside(c + o, -p), beside(green + o, -p), beside(c + o, 1 - p), beside(green + o, 1 - p), half, apart, flat));
    v128.store(other + o, coloured(gg, v128.load(cUp + o), v128.load(greenUp + o), v128.load(cDown + o), v128.load(greenDown + o), half, apart, flat));
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
  open(plan, first);
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
