/**
 * A transform as the numbers that the kernel `run` reads (media/kernels/assembly/video.ts): operations and parameters as
 * float64, tables beside them. Every curve becomes pieces of one general form, from its published constants.
 */
import {
  type PublishedCurve,
  ACESCCT,
  ACESPROXY,
  ADX,
  CINEON,
  DLOG,
  FLOG,
  HLG,
  LOG3G10,
  LOGC3,
  LOGC3_A,
  LOGC4,
  NLOG,
  PQ,
  SLOG2,
  SLOG3,
  SMALLEST,
  VLOG,
  adxLines,
  hlgScale,
} from './curves.ts';
import { straightPart } from './evaluate.ts';
import { type Matrix, type Triple, diagonal } from './matrix.ts';
import { type ColourTransform, type Curve, type LogParameters, type Step, noOffset } from './steps.ts';

/** Puts a table into the kernels' memory and gives its address. */
export interface Tables {
  readonly f64: (values: Float64Array) => number;
  readonly f32: (values: Float64Array) => number;
}

const OPERATIONS = { end: 0, matrix: 1, curve: 2, clamp: 3, table: 4, halfTable: 5, cube: 6 } as const;
const LINE = 0;
const EXPONENTIAL = 1;
const LOGARITHM = 2;
const POWER = 3;
const PQ_LIGHT = 4;
const PQ_SIGNAL = 5;

/** Holds for values greater than `above`; the first piece of a curve holds everywhere below the second. */
interface Piece {
  readonly above: number;
  readonly kind: number;
  /** Up to five, by kind. */
  readonly parameters: readonly number[];
}
interface Pieces {
  /** f(-x) = -f(x): the pieces are those of x >= 0. */
  readonly mirrored: boolean;
  readonly pieces: readonly Piece[];
}

/** square · x² + slope · x + offset */
const line = (above: number, slope: number, offset: number, square = 0): Piece => ({
  above,
  kind: LINE,
  parameters: [slope, offset, square],
});
/** What an exponential, a logarithm or a power does to its operand and to its result. */
interface Placing {
  readonly gain?: number;
  readonly slope?: number;
  readonly offset?: number;
  readonly lift?: number;
}
/** gain · 2^(slope · x + offset) + lift */
const exponential = (above: number, { gain = 1, slope = 1, offset = 0, lift = 0 }: Placing): Piece => ({
  above,
  kind: EXPONENTIAL,
  parameters: [gain, slope, offset, lift],
});
/** gain · log2(slope · x + offset) + lift */
const logarithm = (above: number, { gain = 1, slope = 1, offset = 0, lift = 0 }: Placing): Piece => ({
  above,
  kind: LOGARITHM,
  parameters: [gain, slope, offset, lift],
});
/** gain · (slope · x + offset)^exponent + lift, the power of 0 for what is not above 0 */
const power = (
  above: number,
  exponent: number,
  { gain = 1, slope = 1, offset = 0, lift = 0 }: Placing = {},
): Piece => ({ above, kind: POWER, parameters: [gain, slope, offset, exponent, lift] });

const straight = (...pieces: readonly Piece[]): Pieces => ({ mirrored: false, pieces });
const mirrored = (...pieces: readonly Piece[]): Pieces => ({ mirrored: true, pieces });

const EVERYWHERE = Number.NEGATIVE_INFINITY;
const DECADE = Math.log2(10);

function decoding(curve: PublishedCurve): Pieces {
  switch (curve.name) {
    case 'linear':
      return straight(line(EVERYWHERE, 1, 0));
    case 'slog2': {
      // Codes to levels, and levels to light, in one step each.
      const { scale, gain, level, floor } = SLOG2;
      const slope = 1 / (SLOG2.slope * level * scale);
      const cut = SLOG2.black * level + floor;
      return straight(
        line(EVERYWHERE, slope, -slope * cut),
        exponential(justBelow(cut), {
          gain: 1 / scale,
          slope: DECADE / (gain * level),
          offset: -DECADE * (floor / (gain * level) + SLOG2.lift / gain),
          lift: -SLOG2.offset / scale,
        }),
      );
    }
    case 'slog3': {
      const below = SLOG3.cut / (SLOG3.cutCode - SLOG3.black);
      return straight(
        line(EVERYWHERE, SLOG3.codes * below, -SLOG3.black * below),
        exponential(SLOG3.cutCode / SLOG3.codes, {
          gain: SLOG3.grey,
          slope: (SLOG3.codes * DECADE) / SLOG3.slope,
          offset: (-SLOG3.offset * DECADE) / SLOG3.slope,
          lift: -SLOG3.lift,
        }),
      );
    }
    case 'logc3': {
      const [cut, b, c, d, e, f] = LOGC3[curve.ei];
      return straight(
        line(EVERYWHERE, 1 / e, -f / e),
        exponential(e * cut + f, {
          gain: 1 / LOGC3_A,
          slope: DECADE / c,
          offset: (-d * DECADE) / c,
          lift: -b / LOGC3_A,
        }),
      );
    }
    case 'logc4':
      return straight(
        line(EVERYWHERE, LOGC4.s, LOGC4.t),
        exponential(0, {
          gain: 1 / LOGC4.a,
          slope: 14 / LOGC4.b,
          offset: 6 - (14 * LOGC4.c) / LOGC4.b,
          lift: -64 / LOGC4.a,
        }),
      );
    case 'vlog':
      return straight(
        line(EVERYWHERE, 1 / VLOG.slope, -VLOG.offset / VLOG.slope),
        exponential(VLOG.cutCode, {
          slope: DECADE / VLOG.c,
          offset: (-VLOG.d * DECADE) / VLOG.c,
          lift: -VLOG.b,
        }),
      );
    case 'log3g10':
      return straight(
        line(EVERYWHERE, 1 / LOG3G10.g, -LOG3G10.c),
        exponential(0, { gain: 1 / LOG3G10.b, slope: DECADE / LOG3G10.a, lift: -1 / LOG3G10.b - LOG3G10.c }),
      );
    case 'flog':
    case 'flog2': {
      const { cutCode, a, b, c, d, e, f } = FLOG[curve.name];
      return straight(
        line(EVERYWHERE, 1 / e, -f / e),
        exponential(justBelow(cutCode), {
          gain: 1 / a,
          slope: DECADE / c,
          offset: (-d * DECADE) / c,
          lift: -b / a,
        }),
      );
    }
    case 'nlog':
      return straight(
        power(EVERYWHERE, 3, { gain: -1, slope: -1 / NLOG.a, lift: -NLOG.b }),
        power(0, 3, { slope: 1 / NLOG.a, lift: -NLOG.b }),
        exponential(justBelow(NLOG.cutCode), {
          slope: Math.LOG2E / NLOG.c,
          offset: (-NLOG.d * Math.LOG2E) / NLOG.c,
        }),
      );
    case 'dlog':
      return straight(
        line(EVERYWHERE, 1 / DLOG.slope, -DLOG.offset / DLOG.slope),
        exponential(DLOG.cutCode, {
          gain: 1 / DLOG.a,
          slope: DLOG.e * DECADE,
          offset: -DLOG.f * DECADE,
          lift: -DLOG.b / DLOG.a,
        }),
      );
    case 'acesproxy10':
    case 'acesproxy12': {
      const { most, stop, middle } = ACESPROXY[curve.name];
      return straight(
        exponential(EVERYWHERE, { slope: most / stop, offset: -middle / stop - ACESPROXY.log }),
      );
    }
    case 'adx':
      return straight(
        line(EVERYWHERE, 0, 10 ** ADX.points[0][1]),
        ...adxLines.map(({ from, slope, offset }) =>
          exponential(from, { slope: slope * DECADE, offset: offset * DECADE }),
        ),
      );
    case 'acescct':
      return straight(
        line(EVERYWHERE, 1 / ACESCCT.a, -ACESCCT.b / ACESCCT.a),
        exponential(ACESCCT.cutCode, { slope: 17.52, offset: -9.72 }),
      );
    case 'acescc':
      return straight(
        exponential(EVERYWHERE, { gain: 2, slope: 17.52, offset: -9.72, lift: -(2 ** -15) }),
        exponential((9.72 - 15) / 17.52, { slope: 17.52, offset: -9.72 }),
      );
    case 'cineon':
      return straight(
        exponential(EVERYWHERE, {
          gain: 1 / (1 - CINEON.black),
          slope: (1023 * DECADE) / CINEON.perDecade,
          offset: (-CINEON.white * DECADE) / CINEON.perDecade,
          lift: -CINEON.black / (1 - CINEON.black),
        }),
      );
    case 'bt709':
      return mirrored(
        line(EVERYWHERE, 1 / 4.5, 0),
        power(justBelow(0.081), 1 / 0.45, { slope: 1 / 1.099, offset: 0.099 / 1.099 }),
      );
    case 'bt1886':
      return mirrored(power(EVERYWHERE, 2.4));
    case 'srgb':
      return mirrored(
        line(EVERYWHERE, 1 / 12.92, 0),
        power(0.04045, 2.4, { slope: 1 / 1.055, offset: 0.055 / 1.055 }),
      );
    case 'pq':
      return mirrored({
        above: EVERYWHERE,
        kind: PQ_LIGHT,
        parameters: [10000 / curve.nits_of_one, 1 / PQ.m2, 1 / PQ.m1, PQ.mostSignal],
      });
    case 'hlg': {
      const scale = hlgScale(curve.signal_of_one);
      return mirrored(
        line(EVERYWHERE, 0, 0, scale / 3),
        exponential(0.5, {
          gain: scale / 12,
          slope: Math.LOG2E / HLG.a,
          offset: (-HLG.c * Math.LOG2E) / HLG.a,
          lift: (scale * HLG.b) / 12,
        }),
      );
    }
  }
}

/** For pieces that hold from a value on, not only above it. */
function justBelow(value: number): number {
  return value * (1 - Number.EPSILON);
}

function encoding(curve: PublishedCurve): Pieces {
  switch (curve.name) {
    case 'linear':
      return straight(line(EVERYWHERE, 1, 0));
    case 'slog2': {
      const { scale, gain, level, floor } = SLOG2;
      return straight(
        line(EVERYWHERE, SLOG2.slope * scale * level, SLOG2.black * level + floor),
        logarithm(-SMALLEST, {
          gain: (gain * level) / DECADE,
          slope: scale,
          offset: SLOG2.offset,
          lift: SLOG2.lift * level + floor,
        }),
      );
    }
    case 'slog3': {
      const gain = SLOG3.slope / DECADE / SLOG3.codes;
      return straight(
        line(EVERYWHERE, (SLOG3.cutCode - SLOG3.black) / SLOG3.cut / SLOG3.codes, SLOG3.black / SLOG3.codes),
        logarithm(justBelow(SLOG3.cut), {
          gain,
          slope: 1 / SLOG3.grey,
          offset: SLOG3.lift / SLOG3.grey,
          lift: SLOG3.offset / SLOG3.codes,
        }),
      );
    }
    case 'logc3': {
      const [cut, b, c, d, e, f] = LOGC3[curve.ei];
      return straight(
        line(EVERYWHERE, e, f),
        logarithm(cut, { gain: c / DECADE, slope: LOGC3_A, offset: b, lift: d }),
      );
    }
    case 'logc4':
      return straight(
        line(EVERYWHERE, 1 / LOGC4.s, -LOGC4.t / LOGC4.s),
        logarithm(LOGC4.t, {
          gain: LOGC4.b / 14,
          slope: LOGC4.a,
          offset: 64,
          lift: LOGC4.c - (6 * LOGC4.b) / 14,
        }),
      );
    case 'vlog':
      return straight(
        line(EVERYWHERE, VLOG.slope, VLOG.offset),
        logarithm(justBelow(VLOG.cut), { gain: VLOG.c / DECADE, offset: VLOG.b, lift: VLOG.d }),
      );
    case 'log3g10':
      return straight(
        line(EVERYWHERE, LOG3G10.g, LOG3G10.c * LOG3G10.g),
        logarithm(-LOG3G10.c, {
          gain: LOG3G10.a / DECADE,
          slope: LOG3G10.b,
          offset: LOG3G10.b * LOG3G10.c + 1,
        }),
      );
    case 'flog':
    case 'flog2': {
      const { cut, a, b, c, d, e, f } = FLOG[curve.name];
      return straight(
        line(EVERYWHERE, e, f),
        logarithm(justBelow(cut), { gain: c / DECADE, slope: a, offset: b, lift: d }),
      );
    }
    case 'nlog':
      return straight(
        power(EVERYWHERE, 1 / 3, { gain: -NLOG.a, slope: -1, offset: -NLOG.b }),
        power(-NLOG.b, 1 / 3, { gain: NLOG.a, offset: NLOG.b }),
        logarithm(justBelow(NLOG.cut), { gain: NLOG.c * Math.LN2, lift: NLOG.d }),
      );
    case 'dlog':
      return straight(
        line(EVERYWHERE, DLOG.slope, DLOG.offset),
        logarithm(DLOG.cut, { gain: DLOG.c / DECADE, slope: DLOG.a, offset: DLOG.b, lift: DLOG.d }),
      );
    case 'acesproxy10':
    case 'acesproxy12': {
      const { most, lowest, stop, middle } = ACESPROXY[curve.name];
      return straight(
        line(EVERYWHERE, 0, lowest / most),
        logarithm(ACESPROXY.least, { gain: stop / most, lift: (ACESPROXY.log * stop + middle) / most }),
      );
    }
    case 'adx':
      return straight(
        line(EVERYWHERE, 0, ADX.points[0][0]),
        ...adxLines.map(({ from, slope, offset }) =>
          logarithm(10 ** (slope * from + offset), { gain: 1 / (slope * DECADE), lift: -offset / slope }),
        ),
      );
    case 'acescct':
      return straight(
        line(EVERYWHERE, ACESCCT.a, ACESCCT.b),
        logarithm(ACESCCT.cut, { gain: 1 / 17.52, lift: 9.72 / 17.52 }),
      );
    case 'acescc':
      return straight(
        line(EVERYWHERE, 0, (-16 + 9.72) / 17.52),
        logarithm(0, { gain: 1 / 17.52, slope: 0.5, offset: 2 ** -16, lift: 9.72 / 17.52 }),
        logarithm(justBelow(2 ** -15), { gain: 1 / 17.52, lift: 9.72 / 17.52 }),
      );
    case 'cineon':
      return straight(
        logarithm(EVERYWHERE, {
          gain: CINEON.perDecade / DECADE / 1023,
          slope: 1 - CINEON.black,
          offset: CINEON.black,
          lift: CINEON.white / 1023,
        }),
      );
    case 'bt709':
      return mirrored(line(EVERYWHERE, 4.5, 0), power(justBelow(0.018), 0.45, { gain: 1.099, lift: -0.099 }));
    case 'bt1886':
      return mirrored(power(EVERYWHERE, 1 / 2.4));
    case 'srgb':
      return mirrored(line(EVERYWHERE, 12.92, 0), power(0.0031308, 1 / 2.4, { gain: 1.055, lift: -0.055 }));
    case 'pq':
      return mirrored({
        above: EVERYWHERE,
        kind: PQ_SIGNAL,
        parameters: [curve.nits_of_one / 10000, PQ.m1, PQ.m2, PQ.mostNits / 10000],
      });
    case 'hlg': {
      const scale = hlgScale(curve.signal_of_one);
      return mirrored(
        power(EVERYWHERE, 0.5, { slope: 3 / scale }),
        logarithm(scale / 12, { gain: HLG.a / Math.LOG2E, slope: 12 / scale, offset: -HLG.b, lift: HLG.c }),
      );
    }
  }
}

function logPieces(p: LogParameters, direction: 'toLin' | 'toLog'): Pieces {
  const octave = Math.log2(p.base);
  const below = straightPart(p);
  if (direction === 'toLog') {
    const above = logarithm(p.linSideBreak ?? EVERYWHERE, {
      gain: p.logSideSlope / octave,
      slope: p.linSideSlope,
      offset: p.linSideOffset,
      lift: p.logSideOffset,
    });
    return below === null ? straight(above) : straight(line(EVERYWHERE, below.slope, below.offset), above);
  }
  const above = exponential(below?.logSideBreak ?? EVERYWHERE, {
    gain: 1 / p.linSideSlope,
    slope: octave / p.logSideSlope,
    offset: (-p.logSideOffset * octave) / p.logSideSlope,
    lift: -p.linSideOffset / p.linSideSlope,
  });
  return below === null
    ? straight(above)
    : straight(line(EVERYWHERE, 1 / below.slope, -below.offset / below.slope), above);
}

function exponentPieces({ style, exponent: g, offset: k }: Extract<Curve, { form: 'exponent' }>): Pieces {
  const exponent = style.endsWith('Rev') ? 1 / g : g;
  const bare = power(EVERYWHERE, exponent);
  switch (style) {
    case 'basicFwd':
    case 'basicRev':
      return straight(bare);
    case 'basicMirrorFwd':
    case 'basicMirrorRev':
      return mirrored(bare);
    case 'basicPassThruFwd':
    case 'basicPassThruRev':
      return straight(line(EVERYWHERE, 1, 0), { ...bare, above: -SMALLEST });
    default: {
      const make = style.includes('Mirror') ? mirrored : straight;
      if (g === 1 || k === null) return make(line(EVERYWHERE, 1, 0));
      const yBreak = ((k * g) / ((g - 1) * (1 + k))) ** g;
      const slope = ((g - 1) / k) * yBreak;
      return style.endsWith('Rev')
        ? make(line(EVERYWHERE, 1 / slope, 0), power(justBelow(yBreak), exponent, { gain: 1 + k, lift: -k }))
        : make(
            line(EVERYWHERE, slope, 0),
            power(justBelow(k / (g - 1)), exponent, { slope: 1 / (1 + k), offset: k / (1 + k) }),
          );
    }
  }
}

function piecesOf(curve: Curve): Pieces {
  if (curve.form === 'published')
    return curve.direction === 'decode' ? decoding(curve.curve) : encoding(curve.curve);
  return curve.form === 'log' ? logPieces(curve.parameters, curve.direction) : exponentPieces(curve);
}

const words = ({ kind, above, parameters }: Piece): number[] => [
  kind,
  above,
  ...parameters,
  ...Array.from({ length: 5 - parameters.length }, () => 0),
];
const curveWords = (curves: readonly [Curve, Curve, Curve]): number[] =>
  curves.flatMap((curve, channel) => {
    const { mirrored: odd, pieces } = piecesOf(curve);
    return [OPERATIONS.curve, channel, odd ? 1 : 0, pieces.length, ...pieces.flatMap(words)];
  });
const matrixWords = (matrix: Matrix, offset: Triple = noOffset): number[] => [
  OPERATIONS.matrix,
  ...matrix.flatMap((row, index) => [...row, offset[index] as number]),
];

/** ASC CDL as matrices, powers and limits. */
function cdlWords({
  style,
  slope,
  offset,
  power: powers,
  saturation,
}: Extract<Step, { kind: 'cdl' }>): number[] {
  const limit = style.endsWith('NoClamp') ? [] : [OPERATIONS.clamp, 0, 1];
  const forward = style.startsWith('Fwd');
  const curve = (channel: 0 | 1 | 2): Curve => ({
    form: 'exponent',
    style: forward ? 'basicPassThruFwd' : 'basicPassThruRev',
    exponent: powers[channel],
    offset: null,
  });
  const powered = curveWords([curve(0), curve(1), curve(2)]);
  const amount = forward ? saturation : 1 / saturation;
  const luma: Triple = [0.2126, 0.7152, 0.0722];
  const mixed = (own: 0 | 1 | 2): Triple =>
    luma.map((weight, channel) => (1 - amount) * weight + (channel === own ? amount : 0)) as [
      number,
      number,
      number,
    ];
  const saturated = matrixWords([mixed(0), mixed(1), mixed(2)]);
  if (forward) return [...matrixWords(diagonal(slope), offset), ...limit, ...powered, ...saturated, ...limit];
  const undone = matrixWords(diagonal([1 / slope[0], 1 / slope[1], 1 / slope[2]]), [
    -offset[0] / slope[0],
    -offset[1] / slope[1],
    -offset[2] / slope[2],
  ]);
  return [...limit, ...saturated, ...limit, ...powered, ...undone, ...limit];
}

function stepWords(step: Step, tables: Tables): number[] {
  switch (step.kind) {
    case 'matrix':
      return matrixWords(step.matrix, step.offset);
    case 'curves':
      return curveWords(step.curves);
    case 'clamp':
      return [OPERATIONS.clamp, step.low ?? Number.NEGATIVE_INFINITY, step.high ?? Number.POSITIVE_INFINITY];
    case 'cdl':
      return cdlWords(step);
    case 'table1': {
      const { domain } = step;
      return step.tables.flatMap((table, channel) => {
        const address = tables.f64(table);
        if (domain === 'half') return [OPERATIONS.halfTable, channel, address];
        const [low, high] = [domain.low[channel] as number, domain.high[channel] as number];
        return [OPERATIONS.table, channel, address, table.length, low, (table.length - 1) / (high - low)];
      });
    }
    case 'table3': {
      const scale = step.low.map((low, channel) => (step.size - 1) / ((step.high[channel] as number) - low));
      return [
        OPERATIONS.cube,
        tables.f32(step.values),
        step.size,
        step.interpolation === 'tetrahedral' ? 1 : 0,
        ...step.low,
        ...scale,
      ];
    }
  }
}

/** The program of a transform; `after`: a matrix that comes last. */
export function programOf(
  transform: ColourTransform,
  tables: Tables,
  after?: { readonly matrix: Matrix; readonly offset: Triple },
): Float64Array {
  const body = transform.steps.flatMap((step) => stepWords(step, tables));
  return Float64Array.from([
    ...body,
    ...(after === undefined ? [] : matrixWords(after.matrix, after.offset)),
    OPERATIONS.end,
  ]);
}
