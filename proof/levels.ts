/**
 * Whether levels and colours came out through the profile's own conversion: the colours of the source are taken through
 * it in double precision and compared with what was delivered, beside the conversions that a slip would have made. Area
 * averages commute with a linear conversion, so the tiny pictures are enough. Pure.
 */
import {
  COLOUR_CELLS,
  COLOUR_HEIGHT,
  COLOUR_WIDTH,
  CELLS,
  GRID_WIDTH,
  type FrameFingerprints,
} from './form.ts';
import { colourCellsSeen } from './framing.ts';
import { median } from './pictures.ts';

/** KR and KB: ITU-T H.273, Table 4 (MatrixCoefficients), by the names of media/colour/h273.ts. */
export const weights = {
  bt709: { red: 0.2126, blue: 0.0722 },
  fcc: { red: 0.3, blue: 0.11 },
  'bt601-625': { red: 0.299, blue: 0.114 },
  bt601: { red: 0.299, blue: 0.114 },
  st240: { red: 0.212, blue: 0.087 },
  bt2020: { red: 0.2627, blue: 0.0593 },
} as const;
export type Matrix = keyof typeof weights;
export const isMatrix = (name: string): name is Matrix => Object.hasOwn(weights, name);

export interface Basis {
  readonly matrix: Matrix;
  readonly range: 'limited' | 'full';
}
export type Triple = readonly [number, number, number];

/** Code values as the fingerprints have them: 256 for each step of 8 bits. H.273, clause 8.3: 219 and 224 steps of 255 in limited range. */
const scales = {
  limited: { black: 16 * 256, luma: 219 * 256, chroma: 224 * 256 },
  full: { black: 0, luma: 255 * 256, chroma: 255 * 256 },
} as const;
const NEUTRAL = 128 * 256;

function toRgb([y, cb, cr]: Triple, { matrix, range }: Basis): Triple {
  const scale = scales[range];
  const { red: kr, blue: kb } = weights[matrix];
  const luma = (y - scale.black) / scale.luma;
  const pb = (cb - NEUTRAL) / scale.chroma;
  const pr = (cr - NEUTRAL) / scale.chroma;
  const red = luma + 2 * (1 - kr) * pr;
  const blue = luma + 2 * (1 - kb) * pb;
  return [red, (luma - kr * red - kb * blue) / (1 - kr - kb), blue];
}

function fromRgb([red, green, blue]: Triple, { matrix, range }: Basis): Triple {
  const scale = scales[range];
  const { red: kr, blue: kb } = weights[matrix];
  const luma = kr * red + (1 - kr - kb) * green + kb * blue;
  return [
    scale.black + luma * scale.luma,
    NEUTRAL + ((blue - luma) / (2 * (1 - kb))) * scale.chroma,
    NEUTRAL + ((red - luma) / (2 * (1 - kr))) * scale.chroma,
  ];
}

/** Gain and offset of luma that a conversion promises where the matrix stays. */
export function promisedLevels(source: Basis, output: Basis): { gain: number; offset: number } {
  const from = scales[source.range];
  const to = scales[output.range];
  const gain = to.luma / from.luma;
  return { gain, offset: to.black - gain * from.black };
}

interface Conversion {
  readonly name: string;
  readonly kind: 'right' | 'range' | 'matrix';
  readonly convert: (colour: Triple) => Triple;
}

const other = (range: Basis['range']): Basis['range'] => (range === 'full' ? 'limited' : 'full');

function conversions(source: Basis, output: Basis): Conversion[] {
  const by = (from: Basis, to: Basis) => (colour: Triple) => fromRgb(toRgb(colour, from), to);
  const list: Conversion[] = [
    { name: `${output.matrix} ${output.range}`, kind: 'right', convert: by(source, output) },
    {
      name: `levels of ${other(output.range)} range under a ${output.range} tag`,
      kind: 'range',
      convert: by(source, { ...output, range: other(output.range) }),
    },
    {
      name: `source levels taken for ${other(source.range)} range`,
      kind: 'range',
      convert: by({ ...source, range: other(source.range) }, output),
    },
    {
      name: 'Cb and Cr exchanged',
      kind: 'matrix',
      convert: (colour) => {
        const [y, cb, cr] = by(source, output)(colour);
        return [y, cr, cb];
      },
    },
  ];
  for (const matrix of ['bt709', 'bt601', 'bt2020'] as const) {
    const same = (a: Matrix): boolean => weights[a].red === weights[matrix].red;
    if (!same(output.matrix))
      list.push({
        name: `colours of matrix ${matrix} under a ${output.matrix} tag`,
        kind: 'matrix',
        convert: by(source, { ...output, matrix }),
      });
    if (!same(source.matrix))
      list.push({
        name: `source colours taken for matrix ${matrix}`,
        kind: 'matrix',
        convert: by({ ...source, matrix }, output),
      });
  }
  return list;
}

/** Another conversion must fit at least this much better, mean squares, and by more than a codec of little colour errs (100: two fifths of an 8-bit step). */
const FITS_BETTER = 0.3;
const MIN_SQUARED_GAIN = 100 * 100;
/**
 * Where pictures err by much for other reasons (what moves between two fields), another conversion may fit hardly better and still be the one
 * that served: when the errors lie more than halfway towards it, by so many times what that is sure to. Intact clips lie within 0.2 of the way, the
 * slip at 1; measured on 155 deliverables, all conversions that can be told apart.
 */
const HALFWAY = 0.5;
const UNCERTAINTIES = 4;
/** Two conversions whose results differ by less than this (mean squares) cannot be told apart by these pictures. */
const MIN_SQUARED_DISTANCE = 4 * MIN_SQUARED_GAIN;
/**
 * And only where the squares of what the two conversions differ by are so many times those of what the pictures miss the nearer of them by: what a codec does to strong noise is
 * no error around the right value. RDD 36 proxy moved all averages of noise of 60 steps towards grey, 0.66 of the way to another
 * range, and those of a grey log picture with strong grain 0.72 of it, where the two ranges differed by 1.7 times what the nearer missed.
 */
const STANDS_OUT = 2;
/** And by twice the least: a codec rounds the few colours of a dark picture all to one side. Two frames of dark noise in RDD 36 proxy lay 0.65 of the way to another matrix, from which theirs differed by 1.06 of that distance. */
const LEANS_FROM = 2 * MIN_SQUARED_DISTANCE;
/**
 * By which half of the averages of an intact conversion may be off, per plane: two steps of 8 bits in luma; six in chroma,
 * which VC-3 LB rounds as coarsely; and in luma too where one field stands for two and what moves is elsewhere in it. Half
 * of them, since a scaler that places chroma samples otherwise moves the edges of small pictures between cells.
 */
const MOST = { fine: 512, coarse: 1536 } as const;

/** Frames that the conversions are tried on, over the whole clip: more would tell no more of what is one for all. Each frame's own colours are compared apart (chroma.ts). */
const MOST_FRAMES = 1000;

export interface LevelsVerdict {
  /** Root mean square against the right conversion: Y', Cb, Cr in steps of 8 bits; null where nothing could be compared. */
  readonly off: Triple | null;
  readonly fault: { readonly kind: 'range' | 'matrix' | 'levels'; readonly found: string } | null;
  /** Slips that would hardly change these pictures, and could not be seen in them. */
  readonly unproven: readonly ('range' | 'matrix')[];
}

export interface LevelsRequest {
  readonly source: FrameFingerprints;
  readonly output: FrameFingerprints;
  /** Cells that are not cut or covered (framing.ts). */
  readonly seen: Uint8Array;
  /** Those that are in their place. */
  readonly frames: ReadonlySet<number>;
  readonly basis: { readonly source: Basis; readonly output: Basis };
}

/** What the right conversion makes of a colour of the fingerprints. */
export function rightConversion(source: Basis, output: Basis): (colour: Triple) => Triple {
  return (conversions(source, output)[0] as Conversion).convert;
}

export function compareLevels({ source, output, seen, frames, basis }: LevelsRequest): LevelsVerdict {
  const cells = [...colourCellsSeen(seen).entries()].filter(([, value]) => value === 1).map(([cell]) => cell);
  const pairs: { from: Triple; to: Triple }[] = [];
  const count = Math.min(source.frames, output.frames);
  const step = Math.max(1, Math.ceil(count / MOST_FRAMES));
  for (let frame = 0; frame < count; frame += step) {
    if (!frames.has(frame)) continue;
    for (const cell of cells)
      pairs.push({ from: colourAt(source, frame, cell), to: colourAt(output, frame, cell) });
  }
  if (pairs.length === 0) return { off: null, fault: null, unproven: [] };
  const list = conversions(basis.source, basis.output);
  const tried = list.map((conversion) => ({ conversion, squares: squaresOf(pairs, conversion.convert) }));
  const [right, ...others] = tried as [(typeof tried)[number], ...typeof tried];
  const leanings = new Map(
    others.map(({ conversion }) => [
      conversion,
      leaningOf(pairs, right.conversion.convert, conversion.convert),
    ]),
  );
  /** Whether the two conversions lie farther apart than the pictures miss the nearer of them by, by far. */
  const standsOut = ({ conversion, squares }: (typeof tried)[number]): boolean =>
    STANDS_OUT * Math.min(total(right.squares), total(squares)) < (leanings.get(conversion) as Leaning).apart;
  const unproven = [
    ...new Set(
      others.flatMap((one) => {
        const { apart, unsure } = leanings.get(one.conversion) as Leaning;
        const { kind } = one.conversion;
        const isFaint = apart < MIN_SQUARED_DISTANCE || UNCERTAINTIES * unsure > HALFWAY || !standsOut(one);
        return kind !== 'right' && isFaint ? [kind] : [];
      }),
    ),
  ];
  const off = right.squares.map((square) => Math.sqrt(square) / 256) as unknown as Triple;
  const best = others.reduce((least, one) => (total(one.squares) < total(least.squares) ? one : least));
  const gained = total(right.squares) - total(best.squares);
  const { apart, towards, unsure } = leanings.get(best.conversion) as Leaning;
  const isBest =
    (apart > MIN_SQUARED_DISTANCE && total(best.squares) < FITS_BETTER * total(right.squares)) ||
    (apart > LEANS_FROM && standsOut(best) && towards > HALFWAY + UNCERTAINTIES * unsure);
  if (isBest && gained > MIN_SQUARED_GAIN && best.conversion.kind !== 'right')
    return { off, fault: { kind: best.conversion.kind, found: best.conversion.name }, unproven };
  const most = [source.views === 2 ? MOST.coarse : MOST.fine, MOST.coarse, MOST.coarse] as const;
  if (middleOff(pairs, right.conversion.convert).some((off, plane) => off > (most[plane] as number)))
    return {
      off,
      unproven,
      fault: {
        kind: 'levels',
        found: `off by ${off.map((value) => value.toFixed(1)).join(', ')} steps of 8 bits in Y', Cb, Cr`,
      },
    };
  return { off, fault: null, unproven };
}

interface Leaning {
  /** Mean squares between what the two conversions make of the source. */
  readonly apart: number;
  /** How far the delivered colours lie from the one towards the other: 0 at the first, 1 at the second; with its standard error. */
  readonly towards: number;
  readonly unsure: number;
}

function leaningOf(
  pairs: readonly { from: Triple; to: Triple }[],
  convert: Conversion['convert'],
  otherwise: Conversion['convert'],
): Leaning {
  let way = 0;
  let along = 0;
  let errors = 0;
  for (const { from, to } of pairs) {
    const should = convert(from);
    const might = otherwise(from);
    for (const plane of [0, 1, 2] as const) {
      const error = to[plane] - should[plane];
      const step = might[plane] - should[plane];
      way += step * step;
      along += step * error;
      errors += error * error;
    }
  }
  if (way === 0) return { apart: 0, towards: 0, unsure: Number.POSITIVE_INFINITY };
  const towards = along / way;
  return {
    apart: way / pairs.length,
    towards,
    unsure: Math.sqrt(Math.max(0, errors - towards * along) / (3 * pairs.length * way)),
  };
}

function total(squares: Triple): number {
  return squares[0] + squares[1] + squares[2];
}

/** What half of the averages are off by at most, plane by plane. */
function middleOff(pairs: readonly { from: Triple; to: Triple }[], convert: Conversion['convert']): number[] {
  const all = pairs.map(({ from, to }) => {
    const should = convert(from);
    return to.map((value, plane) => Math.abs(value - (should[plane] as number)));
  });
  return [0, 1, 2].map((plane) => median(all.map((one) => one[plane] as number)));
}

/** Mean squares of the three planes. */
function squaresOf(pairs: readonly { from: Triple; to: Triple }[], convert: Conversion['convert']): Triple {
  const sums: [number, number, number] = [0, 0, 0];
  for (const { from, to } of pairs) {
    const should = convert(from);
    for (const plane of [0, 1, 2] as const) sums[plane] += (to[plane] - should[plane]) ** 2;
  }
  return [sums[0] / pairs.length, sums[1] / pairs.length, sums[2] / pairs.length];
}

/** Luma of the four cells below one cell of colour, of the earlier field, which a deinterlaced picture is of, with its chroma; grey where there is none. */
export function colourAt(fingerprints: FrameFingerprints, frame: number, cell: number): Triple {
  const row = Math.floor(cell / COLOUR_WIDTH);
  const column = cell % COLOUR_WIDTH;
  const from = frame * fingerprints.views * CELLS + 2 * row * GRID_WIDTH + 2 * column;
  const y =
    ((fingerprints.luma[from] as number) +
      (fingerprints.luma[from + 1] as number) +
      (fingerprints.luma[from + GRID_WIDTH] as number) +
      (fingerprints.luma[from + GRID_WIDTH + 1] as number)) /
    4;
  if (fingerprints.colour === null) return [y, NEUTRAL, NEUTRAL];
  const chroma = frame * 2 * COLOUR_CELLS + row * COLOUR_WIDTH + column;
  return [
    y,
    fingerprints.colour[chroma] as number,
    fingerprints.colour[chroma + COLOUR_WIDTH * COLOUR_HEIGHT] as number,
  ];
}
