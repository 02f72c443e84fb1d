/**
 * What the encoder must be given, in double precision: the source's samples around each place, taken through levels, scaling, matrix and
 * cropping as the recipe states them. Written from the statement (docs/mechanisms/encoder-input.md), and sharing with the recipe neither
 * a filter's text nor a table.
 */
import type { Siting } from '../../media/colour/siting.ts';
import { type Basis, weights } from '../levels.ts';
import { axisOf } from './kernel.ts';
import {
  type Area,
  type Axes,
  type Between,
  LIMITED,
  type Limits,
  noLimits,
  type Part,
  resampled,
} from './passes.ts';
import type { PixelLayout, SamplePlane } from './samples.ts';
import type { Place, Size } from './tiles.ts';

export interface ModelRequest {
  readonly from: PixelLayout;
  readonly to: PixelLayout;
  /** `matrix` of RGB counts for nothing. */
  readonly source: Basis;
  readonly output: Basis;
  /** Of the source's chroma. */
  /** As the decoder gives the picture. */
  readonly siting: Siting;
  /** How the picture came to stand upright; absent: it stands so. */
  readonly turn?: { readonly rotation: 0 | 90 | 180 | 270; readonly mirrored: boolean };
  /** Of the encoder's; absent: left. */
  readonly outputSiting?: Siting;
  readonly size: Size;
  readonly scaled: Size;
}

export interface Model {
  /**
   * `place`: of the source's samples, and of what is asked for, in the scaled picture. Planes Y', Cb, Cr in codes of the encoder.
   * What was limited is added to `limits`.
   */
  expected(
    samples: readonly SamplePlane[],
    place: { readonly source: Place; readonly made: Place },
    size: Size,
    limits?: Limits,
  ): Part[];
  /** Luma of the encoder for a colour of the source, unrounded and unlimited: of means. Codes of 8 bits with their fractions. */
  luma(colour: Three): number;
  /** Whether a sample of luma keeps its level, and is not rounded but by the scaler's own weights. */
  readonly keepsLevel: boolean;
  /** Codes of the encoder by which a right sample may differ: Y', and Cb and Cr. */
  readonly allowed: readonly [number, number, number];
}

const ceilShift = (value: number, shift: number): number => -(-value >> shift);

/** Where the first sample of a subsampled side lies, in its own samples from the edge. */
function placeOnSide(shift: number, lumaSteps: number): number {
  return (lumaSteps + 0.5) / 2 ** shift;
}
/** Luma steps from the first luma sample to the first chroma sample: ITU-T H.273, figure 10. */
const sitingSteps: Readonly<Record<Siting, readonly [across: number, down: number]>> = {
  left: [0, 0.5],
  center: [0.5, 0.5],
  topleft: [0, 0],
  top: [0.5, 0],
  bottomleft: [0, 1],
  bottom: [0.5, 1],
  right: [1, 0.5],
  topright: [1, 0],
  bottomright: [1, 1],
};

/** Of a picture that was mirrored and turned clockwise: within the cell of two by two luma samples, and as steps from its first one again. */
function turnedSteps(
  [across, down]: readonly [number, number],
  { rotation, mirrored }: NonNullable<ModelRequest['turn']>,
): readonly [number, number] {
  let at = { x: mirrored ? 1 - across : across, y: down };
  for (let turned = 0; turned < rotation; turned += 90) at = { x: 1 - at.y, y: at.x };
  return [at.x, at.y];
}

/** Of what lies between the two passes only the upper end is bounded: by 15 bits. */
const BETWEEN_PASSES = 32_767 / 32_768;

type Three = readonly [number, number, number];
type Planes = readonly [Float64Array, Float64Array, Float64Array];
/** Codes of 8 bits with their fractions, H.273, clause 8.3. */
const scales = {
  limited: { black: 16, luma: 219, chroma: 224 },
  full: { black: 0, luma: 255, chroma: 255 },
} as const;

/** R', G', B' of 0 to 255 in place of Y', Cb, Cr. */
function toRgb([y, cb, cr]: Planes, { matrix, range }: Basis): void {
  const { black, luma, chroma } = scales[range];
  const { red: kr, blue: kb } = weights[matrix];
  const kg = 1 - kr - kb;
  for (let at = 0; at < y.length; at += 1) {
    const light = ((y[at] as number) - black) / luma;
    const red = light + (2 * (1 - kr) * ((cr[at] as number) - 128)) / chroma;
    const blue = light + (2 * (1 - kb) * ((cb[at] as number) - 128)) / chroma;
    y[at] = 255 * red;
    cb[at] = (255 * (light - kr * red - kb * blue)) / kg;
    cr[at] = 255 * blue;
  }
}
/** Y', Cb, Cr of limited range, of which the scaler makes all others, in place of R', G', B'. */
function fromRgb([r, g, b]: Planes, matrix: Basis['matrix']): void {
  const { red: kr, blue: kb } = weights[matrix];
  for (let at = 0; at < r.length; at += 1) {
    const red = r[at] as number;
    const blue = b[at] as number;
    const light = kr * red + (1 - kr - kb) * (g[at] as number) + kb * blue;
    r[at] = 16 + (219 * light) / 255;
    g[at] = 128 + (224 * (blue - light)) / (2 * (1 - kb)) / 255;
    b[at] = 128 + (224 * (red - light)) / (2 * (1 - kr)) / 255;
  }
}
/** What words of so many bits hold. */
function bound(planes: Planes, bits: 14 | 16, limits: Limits): void {
  const top = 256 - 2 ** (8 - bits);
  for (const values of planes)
    for (let at = 0; at < values.length; at += 1) {
      const value = values[at] as number;
      const beyond = value < 0 ? -value : value - top;
      if (!(beyond > 0)) continue;
      values[at] = value < 0 ? 0 : top;
      if (beyond <= LIMITED) continue;
      limits.colours += 1;
      if (beyond > limits.farthest) limits.farthest = beyond;
    }
}

/** From range to range, of codes of 8 bits with their fractions. */
function ranged(value: number, from: Basis['range'], to: Basis['range'], chroma: boolean): number {
  if (from === to) return value;
  const [a, b] = [scales[from], scales[to]];
  return chroma
    ? 128 + ((value - 128) * b.chroma) / a.chroma
    : b.black + ((value - a.black) * b.luma) / a.luma;
}

/** What the 15 bits between the passes hold of limited range that becomes full (libswscale): a little beyond white, and as much of colour. */
const BEYOND = { luma: 30_189 / 128, chroma: 30_775 / 128 } as const;

/**
 * Rounding of the last step, half a code; half of one more where fewer bits are dithered; and the weights, which have 14 and 12 bits. Those of four samples are off by half a step each and by nothing
 * together, which is 0.06 and 0.25 of a code between black and white of 10 bits, and 0.03 go in words between the passes (measured: 0.35, between the two ends of Cr).
 */
const ROUNDING = 0.5;
const DITHER = 0.5;
const WEIGHTS = 0.4;

/** R'G'B' of 14 bits: the weights of chroma, enlarged by the matrix (measured: 4.3). */
const RECORDED = 6;

/** Each kind of array has a loop of its own: one for both is not compiled for either. */
function looked(codes: SamplePlane['values'], table: Float64Array, into: Float64Array): void {
  if (codes instanceof Uint16Array) lookedUp(codes, table, into);
  else for (let at = 0; at < into.length; at += 1) into[at] = table[codes[at] as number] ?? Number.NaN;
}
function lookedUp(codes: Uint16Array, table: Float64Array, into: Float64Array): void {
  for (let at = 0; at < into.length; at += 1) {
    const code = codes[at] as number;
    into[at] = code < table.length ? (table[code] as number) : Number.NaN;
  }
}

function count(limits: Limits, beyond: number): void {
  limits.codes += 1;
  if (beyond > limits.farthest) limits.farthest = beyond;
}

export function modelOf(request: ModelRequest): Model {
  const { from, to, source, output, siting, turn, outputSiting = 'left', size, scaled } = request;
  const up = 2 ** (to.bits - 8);
  const most = 2 ** to.bits - 1;
  const sameMatrix =
    weights[source.matrix].red === weights[output.matrix].red &&
    weights[source.matrix].blue === weights[output.matrix].blue;
  /** R'G'B' of the recorded picture are asked for themselves: a colour way begins there. */
  const endsInRgb = to.kind === 'rgb';
  const throughRgb = from.kind === 'yuv' && (endsInRgb || !sameMatrix);
  const recordedSteps = from.kind === 'yuv' ? sitingSteps[siting] : ([0, 0.5] as const);
  const steps = turn === undefined || from.kind !== 'yuv' ? recordedSteps : turnedSteps(recordedSteps, turn);
  const [across, down] = sitingSteps[outputSiting];
  /** Halved as before, in a picture of the same size, and lying elsewhere: a scaler would copy it, so it comes through a picture that has chroma for every pixel. */
  const throughWhole =
    from.kind === 'yuv' &&
    to.kind === 'yuv' &&
    !throughRgb &&
    size.width === scaled.width &&
    size.height === scaled.height &&
    from.across === to.across &&
    from.down === to.down &&
    ((from.across > 0 && steps[0] !== across) || (from.down > 0 && steps[1] !== down));
  const keptFull = from.kind !== 'rgb' && !throughRgb && source.range === 'full' && output.range === 'full';
  /** Codes of the source turned into those that the scaler takes for full or limited range, each by itself. */
  const turned = from.bits > 8 && (from.kind === 'rgb' || (source.range === 'full' && !keptFull));
  const tabled = from.kind !== 'rgb' && turned ? 'limited' : source.range;
  /** And those that come out of it into full range of more than 8 bits. */
  const turnedBehind = to.bits > 8 && output.range === 'full' && !keptFull;
  const asked = turnedBehind ? 'limited' : output.range;
  const unit = 2 ** (from.bits - 8);

  /** Codes of the source, as codes of 8 bits with their fractions. */
  const taken = (value: number, chroma: boolean): number => {
    if (!turned) return value / unit;
    if (from.kind === 'rgb') return Math.floor((value * 255 * unit) / (256 * unit - 1) + 0.5) / unit;
    const full = 256 * unit - 1;
    return chroma
      ? Math.floor(((value - 128 * unit) * 224 * unit) / full + 128 * unit + 0.5) / unit
      : Math.floor((value * 219 * unit) / full + 16 * unit + 0.5) / unit;
  };
  /** Codes of the encoder, in place. */
  const give = (values: Float64Array, chroma: boolean, limits: Limits): void => {
    const zero = (chroma ? 128 : 16) * up;
    const gain = most / ((chroma ? 224 : 219) * up);
    for (let at = 0; at < values.length; at += 1) {
      let code = (values[at] as number) * up;
      if (code < 0 || code > most) {
        const beyond = code < 0 ? -code : code - most;
        if (beyond > LIMITED * up) count(limits, beyond / up);
        code = code < 0 ? 0 : most;
      }
      if (turnedBehind) {
        code = (code - zero) * gain + (chroma ? zero : 0);
        if (code < 0 || code > most) {
          const beyond = code < 0 ? -code : code - most;
          if (beyond > LIMITED * up) count(limits, beyond / up);
          code = code < 0 ? 0 : most;
        }
      }
      values[at] = code;
    }
  };

  const axes = (shifts: { from: readonly [number, number]; to: readonly [number, number] }): Axes => ({
    across: axisOf({
      from: ceilShift(size.width, shifts.from[0]),
      to: ceilShift(scaled.width, shifts.to[0]),
      places: [
        placeOnSide(shifts.from[0], shifts.from[0] > 0 ? steps[0] : 0),
        placeOnSide(shifts.to[0], shifts.to[0] > 0 ? across : 0),
      ],
    }),
    down: axisOf({
      from: ceilShift(size.height, shifts.from[1]),
      to: ceilShift(scaled.height, shifts.to[1]),
      places: [
        placeOnSide(shifts.from[1], shifts.from[1] > 0 ? steps[1] : 0),
        placeOnSide(shifts.to[1], shifts.to[1] > 0 ? down : 0),
      ],
    }),
  });
  const whole = [0, 0] as const;
  const narrow = [to.across, to.down] as const;
  const chromaFrom = [from.across, from.down] as const;
  const luma = axes({ from: whole, to: whole });
  const chroma = axes({
    from: from.kind === 'yuv' ? chromaFrom : whole,
    to: throughRgb || throughWhole ? whole : narrow,
  });
  /** From chroma of every pixel of the scaled picture to its own. */
  const behind: Axes | null =
    throughWhole || (throughRgb && !endsInRgb)
      ? {
          across: axisOf({
            from: scaled.width,
            to: ceilShift(scaled.width, narrow[0]),
            places: [0.5, placeOnSide(narrow[0], narrow[0] > 0 ? across : 0)],
          }),
          down: axisOf({
            from: scaled.height,
            to: ceilShift(scaled.height, narrow[1]),
            places: [0.5, placeOnSide(narrow[1], narrow[1] > 0 ? down : 0)],
          }),
        }
      : null;

  const untouched: Axes = {
    across: axisOf({ from: scaled.width, to: scaled.width, places: [0.5, 0.5] }),
    down: axisOf({ from: scaled.height, to: scaled.height, places: [0.5, 0.5] }),
  };

  const top = 256 * BETWEEN_PASSES;
  const capped: Between = { most: top, gain: 1, offset: 0 };
  /** Between the passes: the range that the scaler itself changes. */
  const passing = (known: Basis['range'], isChroma: boolean): Between => {
    if (known === asked) return capped;
    const offset = ranged(0, known, asked, isChroma);
    return {
      most: known === 'limited' ? Math.min(top, isChroma ? BEYOND.chroma : BEYOND.luma) : top,
      gain: ranged(1, known, asked, isChroma) - offset,
      offset,
    };
  };

  const areaOf = (
    { x, y }: Place,
    { width, height }: Size,
    [across, down]: readonly [number, number],
  ): Area => ({
    x: x >> across,
    y: y >> down,
    width: ceilShift(width, across),
    height: ceilShift(height, down),
  });
  const codes = 2 ** from.bits;
  const tableOf = (isChroma: boolean): Float64Array =>
    Float64Array.from({ length: codes }, (_, code) => taken(code, isChroma));
  /** A table, since every frame asks for tens of thousands. */
  const tables = [tableOf(false), tableOf(true)] as const;
  /** Of each component, used again: nothing of it is handed out, and memory that is made anew for every band makes V8 collect all of its own. */
  const kept: Float64Array[] = [];
  const keptFor = (component: number, length: number): Float64Array => {
    const there = kept[component];
    if (there !== undefined && there.length >= length) return there.subarray(0, length);
    return (kept[component] = new Float64Array(length));
  };
  const partOf = (plane: SamplePlane, component: number, place: Place): Part => {
    const isChroma = from.kind === 'yuv' && component > 0;
    const table = tables[isChroma ? 1 : 0];
    const values = keptFor(component, plane.values.length);
    // What is not known stays so: no code is NaN, and none is beyond the table.
    looked(plane.values, table, values);
    return {
      x: isChroma ? place.x >> from.across : place.x,
      y: isChroma ? place.y >> from.down : place.y,
      width: plane.width,
      height: plane.height,
      values,
    };
  };
  const finished = (part: Part, isChroma: boolean, limits: Limits): Part => {
    give(part.values, isChroma, limits);
    return part;
  };
  const planesOf = (parts: readonly Part[]): Planes => {
    const [a, b, c] = parts as [Part, Part, Part];
    return [a.values, b.values, c.values];
  };

  /** A mean of codes, which is not rounded. */
  const white = 256 - 1 / unit;
  const meanTaken = (value: number, isChroma: boolean): number => {
    if (!turned) return value;
    if (from.kind === 'rgb') return (value * 255) / white;
    return isChroma ? ((value - 128) * 224) / white + 128 : (value * 219) / white + 16;
  };
  /** Of one colour; every frame asks for thousands, so that nothing is made for one. */
  const one: Planes = [new Float64Array(1), new Float64Array(1), new Float64Array(1)];
  const inSource: Basis = { matrix: source.matrix, range: tabled };

  return {
    expected: (samples, place, asks, limits = noLimits()) => {
      const parts = samples.map((plane, index) => partOf(plane, index, place.source));
      const lumaArea = areaOf(place.made, asks, whole);
      const chromaArea = areaOf(place.made, asks, narrow);
      if (from.kind === 'gray') {
        const y = resampled(parts[0] as Part, luma, lumaArea, { between: passing(tabled, false), limits });
        const none = (): Part => ({
          ...chromaArea,
          values: new Float64Array(chromaArea.width * chromaArea.height).fill(128),
        });
        return [finished(y, false, limits), finished(none(), true, limits), finished(none(), true, limits)];
      }
      if (endsInRgb) {
        const colours = parts.map((part, index) =>
          resampled(part, index === 0 ? luma : chroma, lumaArea, { between: capped, limits }),
        );
        toRgb(planesOf(colours), { matrix: source.matrix, range: tabled });
        bound(planesOf(colours), 14, limits);
        for (const { values } of colours)
          for (let at = 0; at < values.length; at += 1) values[at] = (values[at] as number) * up;
        return colours;
      }
      if (behind !== null) {
        // Chroma of the encoder reaches beyond what is asked for.
        const wide: Area = {
          x: Math.max(0, lumaArea.x - 8),
          y: Math.max(0, lumaArea.y - 8),
          width: 0,
          height: 0,
        };
        const area = {
          ...wide,
          width: Math.min(scaled.width, lumaArea.x + lumaArea.width + 8) - wide.x,
          height: Math.min(scaled.height, lumaArea.y + lumaArea.height + 8) - wide.y,
        };
        const colours = parts.map((part, index) =>
          resampled(part, index === 0 ? luma : chroma, area, { between: capped, limits }),
        );
        if (throughRgb) {
          toRgb(planesOf(colours), { matrix: source.matrix, range: tabled });
          bound(planesOf(colours), 14, limits);
          fromRgb(planesOf(colours), output.matrix);
        } else bound(planesOf(colours), 16, limits);
        const given = throughRgb ? 'limited' : tabled;
        return colours.map((part, index) =>
          index === 0
            ? finished(
                resampled(part, untouched, lumaArea, { between: passing(given, false), limits }),
                false,
                limits,
              )
            : finished(
                resampled(part, behind, chromaArea, { between: passing(given, true), limits }),
                true,
                limits,
              ),
        );
      }
      if (from.kind === 'rgb') fromRgb(planesOf(parts), output.matrix);
      const known = from.kind === 'rgb' ? 'limited' : tabled;
      return parts.map((part, index) =>
        finished(
          resampled(part, index === 0 ? luma : chroma, index === 0 ? lumaArea : chromaArea, {
            between: passing(known, index > 0),
            limits,
          }),
          index > 0,
          limits,
        ),
      );
    },
    luma: (colour) => {
      for (let index = 0; index < 3; index += 1)
        (one[index] as Float64Array)[0] = meanTaken(colour[index] as number, index > 0);
      if (throughRgb) toRgb(one, inSource);
      if (endsInRgb) return one[1][0] as number;
      if (throughRgb || from.kind === 'rgb') fromRgb(one, output.matrix);
      const known = throughRgb || from.kind === 'rgb' ? 'limited' : tabled;
      const y = ranged(one[0][0] as number, known, asked, false);
      return turnedBehind ? ((y - 16) * most) / up / 219 : y;
    },
    keepsLevel: from.kind !== 'rgb' && !throughRgb && !turned && !turnedBehind && tabled === asked,
    allowed: (() => {
      if (endsInRgb) return [RECORDED, RECORDED, RECORDED];
      const dithered = to.bits <= 8 && (from.bits > 8 || throughRgb || throughWhole);
      const base = ROUNDING + (dithered ? DITHER : 0) + WEIGHTS;
      // A table behind the scaler enlarges what the scaler rounded, and rounds once more.
      return [0, 1, 2].map((index) =>
        Math.min(2, turnedBehind ? (base * most) / ((index === 0 ? 219 : 224) * up) + ROUNDING : base),
      ) as unknown as Three;
    })(),
  };
}
