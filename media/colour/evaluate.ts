/**
 * A transform evaluated for one pixel in double precision: the reference that kernels and masters are held against. It is
 * written from the standards' formulas as they stand, one function a step, and shares no code with the kernels.
 */
import { SMALLEST, decode, encode } from './curves.ts';
import { type Triple, apply } from './matrix.ts';
import type { ColourTransform, Curve, ExponentStyle, LogParameters, Step } from './steps.ts';

const logOf = (base: number, value: number): number =>
  base === 2 ? Math.log2(value) : base === 10 ? Math.log10(value) : Math.log(value) / Math.log(base);

/** Academy S-2014-006, Log node: what follows from the parameters for the straight part; null without one. */
export function straightPart(
  p: LogParameters,
): { readonly logSideBreak: number; readonly slope: number; readonly offset: number } | null {
  if (p.linSideBreak === null) return null;
  const inner = p.linSideSlope * p.linSideBreak + p.linSideOffset;
  const logSideBreak = p.logSideSlope * logOf(p.base, inner) + p.logSideOffset;
  const slope = p.linearSlope ?? (p.logSideSlope * p.linSideSlope) / (inner * Math.log(p.base));
  return { logSideBreak, slope, offset: logSideBreak - slope * p.linSideBreak };
}

function toLog(p: LogParameters, x: number): number {
  const straight = straightPart(p);
  if (straight !== null && p.linSideBreak !== null && x <= p.linSideBreak)
    return straight.slope * x + straight.offset;
  return (
    p.logSideSlope * logOf(p.base, Math.max(p.linSideSlope * x + p.linSideOffset, SMALLEST)) + p.logSideOffset
  );
}

function toLin(p: LogParameters, y: number): number {
  const straight = straightPart(p);
  if (straight !== null && y <= straight.logSideBreak) return (y - straight.offset) / straight.slope;
  return (p.base ** ((y - p.logSideOffset) / p.logSideSlope) - p.linSideOffset) / p.linSideSlope;
}

/** Academy S-2014-006, Exponent node. With exponent 1 and offset 0 it changes nothing; other pairs with either of them are not read (clf.ts). */
function monCurve(reverse: boolean, g: number, k: number, x: number): number {
  if (g === 1) return x;
  const yBreak = ((k * g) / ((g - 1) * (1 + k))) ** g;
  const slope = ((g - 1) / k) * yBreak;
  if (reverse) return x >= yBreak ? (1 + k) * x ** (1 / g) - k : x / slope;
  return x >= k / (g - 1) ? ((x + k) / (1 + k)) ** g : x * slope;
}

function exponent(style: ExponentStyle, g: number, k: number | null, x: number): number {
  const power = style.endsWith('Rev') ? 1 / g : g;
  const size = Math.abs(x);
  const mirrored = (value: number): number => (x < 0 ? -value : value);
  switch (style) {
    case 'basicFwd':
    case 'basicRev':
      return Math.max(x, 0) ** power;
    case 'basicMirrorFwd':
    case 'basicMirrorRev':
      return mirrored(size ** power);
    case 'basicPassThruFwd':
    case 'basicPassThruRev':
      return x < 0 ? x : x ** power;
    case 'monCurveFwd':
    case 'monCurveRev':
      return monCurve(style === 'monCurveRev', g, k ?? 0, x);
    case 'monCurveMirrorFwd':
    case 'monCurveMirrorRev':
      return mirrored(monCurve(style === 'monCurveMirrorRev', g, k ?? 0, size));
  }
}

/** A curve at one value. */
export function evaluateCurve(curve: Curve, value: number): number {
  if (curve.form === 'published')
    return curve.direction === 'decode' ? decode(curve.curve, value) : encode(curve.curve, value);
  if (curve.form === 'log')
    return curve.direction === 'toLin' ? toLin(curve.parameters, value) : toLog(curve.parameters, value);
  return exponent(curve.style, curve.exponent, curve.offset, value);
}

const clamp = (value: number, low: number, high: number): number => Math.min(Math.max(value, low), high);
const map = ([r, g, b]: Triple, change: (value: number, channel: 0 | 1 | 2) => number): Triple => [
  change(r, 0),
  change(g, 1),
  change(b, 2),
];

/** ASC CDL version 1.2, and the styles of the Common LUT Format that leave the limits away. */
function cdl(
  { style, slope, offset, power, saturation }: Extract<Step, { kind: 'cdl' }>,
  value: Triple,
): Triple {
  const limit = (x: number): number => (style.endsWith('NoClamp') ? x : clamp(x, 0, 1));
  const powered = (x: number, p: number): number => (x < 0 ? x : x ** p);
  const saturated = (rgb: Triple, amount: number): Triple => {
    const luma = 0.2126 * rgb[0] + 0.7152 * rgb[1] + 0.0722 * rgb[2];
    return map(rgb, (x) => luma + amount * (x - luma));
  };
  if (style === 'Fwd' || style === 'FwdNoClamp')
    return map(
      saturated(
        map(value, (x, c) => powered(limit(x * slope[c] + offset[c]), power[c])),
        saturation,
      ),
      limit,
    );
  return map(saturated(map(value, limit), 1 / saturation), (x, c) =>
    limit((powered(limit(x), 1 / power[c]) - offset[c]) / slope[c]),
  );
}

/** IEEE 754 binary16. */
export function halfOf(bits: number): number {
  const sign = bits & 0x8000 ? -1 : 1;
  const exponentBits = (bits >> 10) & 31;
  const fraction = bits & 1023;
  if (exponentBits === 31) return fraction === 0 ? sign * Number.POSITIVE_INFINITY : Number.NaN;
  return exponentBits === 0
    ? sign * fraction * 2 ** -24
    : sign * (1024 + fraction) * 2 ** (exponentBits - 25);
}
/** Bits of 65504, the greatest finite. */
const MOST_HALF = 0x7bff;
/** The finite ones from 0 on, ascending as their bits are. */
const halves = Float64Array.from({ length: MOST_HALF + 1 }, (_, bits) => halfOf(bits));

function lookUpHalf(table: Float64Array, value: number): number {
  const size = Math.abs(value);
  const sign = value < 0 ? 0x8000 : 0;
  if (size >= (halves[MOST_HALF] as number)) return table[sign | MOST_HALF] as number;
  // The greatest half that is not above.
  let [low, high] = [0, MOST_HALF];
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if ((halves[middle] as number) <= size) low = middle;
    else high = middle;
  }
  const [below, above] = [halves[low] as number, halves[high] as number];
  const part = (size - below) / (above - below);
  return (table[sign | low] as number) * (1 - part) + (table[sign | high] as number) * part;
}

function lookUp(table: Float64Array, low: number, high: number, value: number): number {
  const place = clamp(((value - low) / (high - low)) * (table.length - 1), 0, table.length - 1);
  const below = Math.min(Math.floor(place), table.length - 2);
  return (table[below] as number) * (below + 1 - place) + (table[below + 1] as number) * (place - below);
}

function lookUp3(step: Extract<Step, { kind: 'table3' }>, value: Triple): Triple {
  const { size, values, low, high } = step;
  const place = map(value, (x, c) => clamp(((x - low[c]) / (high[c] - low[c])) * (size - 1), 0, size - 1));
  const base = map(place, (x) => Math.min(Math.floor(x), size - 2));
  const part: Triple = [place[0] - base[0], place[1] - base[1], place[2] - base[2]];
  const corner = (r: number, g: number, b: number): Triple => {
    const at = 3 * (base[0] + r + size * (base[1] + g + size * (base[2] + b)));
    return [values[at] as number, values[at + 1] as number, values[at + 2] as number];
  };
  const sum = (weighted: readonly (readonly [number, Triple])[]): Triple =>
    weighted.reduce<Triple>(
      (total, [weight, at]) => [
        total[0] + weight * at[0],
        total[1] + weight * at[1],
        total[2] + weight * at[2],
      ],
      [0, 0, 0],
    );
  if (step.interpolation === 'trilinear') {
    const corners = [0, 1].flatMap((r) => [0, 1].flatMap((g) => [0, 1].map((b) => [r, g, b] as const)));
    return sum(
      corners.map(([r, g, b]) => [
        (r ? part[0] : 1 - part[0]) * (g ? part[1] : 1 - part[1]) * (b ? part[2] : 1 - part[2]),
        corner(r, g, b),
      ]),
    );
  }
  // From the near corner to the far one, one channel after another, the greatest part first.
  const order = ([0, 1, 2] as const).toSorted((a, b) => part[b] - part[a]);
  const walked: [number, number, number] = [0, 0, 0];
  const weighted: [number, Triple][] = [[1 - part[order[0] as 0 | 1 | 2], corner(0, 0, 0)]];
  for (const [index, channel] of order.entries()) {
    walked[channel] = 1;
    const next = order[index + 1];
    weighted.push([part[channel] - (next === undefined ? 0 : part[next]), corner(...walked)]);
  }
  return sum(weighted);
}

function evaluateStep(step: Step, value: Triple): Triple {
  switch (step.kind) {
    case 'matrix': {
      const [r, g, b] = apply(step.matrix, value);
      return [r + step.offset[0], g + step.offset[1], b + step.offset[2]];
    }
    case 'curves':
      return map(value, (x, c) => evaluateCurve(step.curves[c], x));
    case 'clamp':
      return map(value, (x) =>
        clamp(x, step.low ?? Number.NEGATIVE_INFINITY, step.high ?? Number.POSITIVE_INFINITY),
      );
    case 'cdl':
      return cdl(step, value);
    case 'table1': {
      const { tables, domain } = step;
      return map(value, (x, c) =>
        domain === 'half' ? lookUpHalf(tables[c], x) : lookUp(tables[c], domain.low[c], domain.high[c], x),
      );
    }
    case 'table3':
      return lookUp3(step, value);
  }
}

/** R, G, B through every step. What is not a number counts as 0, as in the kernels. */
export function evaluate(transform: ColourTransform, r: number, g: number, b: number): Triple {
  return transform.steps.reduce<Triple>(
    (value, step) => evaluateStep(step, value),
    map([r, g, b], (x) => (Number.isNaN(x) ? 0 : x)),
  );
}
