/** What the scaler is helped with: levels of more than 8 bits in full range (proof/scaler-codes.ts), and where chroma lies. */
import { isGray, isPlanarYuv, isRgb } from '../../media/pixel-format.ts';
import { codeLine, rgbForScaler } from '../../proof/scaler-codes.ts';
import { bitDepthOf } from '../../media/probe/picture.ts';
import { matrixForScaler } from '../ffmpeg-names.ts';
import { type Siting, isSiting } from '../../media/colour/siting.ts';

type Range = 'limited' | 'full';
interface Colours {
  readonly matrix: string;
  readonly range: Range;
}

interface Levels {
  readonly filters: readonly string[];
  /** What the scaler is to be told. */
  readonly range: Range;
}

/** Full range of `bits` bits to limited, or the other way: luma 219 and chroma 224 steps of 8 bits (H.273, clause 8.3). */
function between(from: Range, bits: number): string {
  const unit = 2 ** (bits - 8);
  const full = 2 ** bits - 1;
  const middle = 128 * unit;
  const [luma, chroma] =
    from === 'full'
      ? [codeLine(219 * unit, full, 0, 16 * unit), codeLine(224 * unit, full, middle, middle)]
      : [codeLine(full, 219 * unit, 16 * unit, 0), codeLine(full, 224 * unit, middle, middle)];
  return `lutyuv=y=${luma}:u=${chroma}:v=${chroma}`;
}

/** Planes of the same samples, which a table can be applied to; nothing is scaled on the way. */
function planarOf(pixelFormat: string, bits: number): string[] {
  if (isPlanarYuv(pixelFormat) && !pixelFormat.endsWith('be')) return [];
  const bare = 'scale=in_range=full:out_range=full:flags=accurate_rnd+bitexact';
  if (isPlanarYuv(pixelFormat)) return [bare, `format=${pixelFormat.replace(/be$/, 'le')}`];
  if (isGray(pixelFormat)) return [bare, `format=yuv444p${bits}le`];
  return [bare, `format=yuv${/^p[0]/.test(pixelFormat) ? '420' : '422'}p${bits}le`];
}

/**
 * Of the decoded picture. Full range that stays full range of the same matrix passes the scaler as it is, white on white to a quarter of
 * a step of 8 bits; every other way of it goes through limited range.
 */
export function levelsBeforeScaler(pixelFormat: string, source: Colours, output: Colours): Levels {
  const { range } = source;
  const bits = bitDepthOf(pixelFormat, undefined);
  if (bits <= 8) return { filters: [], range };
  if (isRgb(pixelFormat)) return { filters: rgbForScaler(pixelFormat), range };
  if (range === 'limited' || isKeptFull(pixelFormat, source, output)) return { filters: [], range };
  return { filters: [...planarOf(pixelFormat, bits), between('full', bits)], range: 'limited' };
}

/** Of what the encoder gets, `pixels`. */
export function levelsBehindScaler(
  pixelFormat: string,
  pixels: string,
  source: Colours,
  output: Colours,
): Levels {
  const { range } = output;
  const bits = bitDepthOf(pixels, undefined);
  if (bits <= 8 || range === 'limited' || isKeptFull(pixelFormat, source, output))
    return { filters: [], range };
  return { filters: [between('limited', bits)], range: 'limited' };
}

/** Y'CbCr that comes out in another matrix. */
export const goesThroughRgb = (pixelFormat: string, source: Colours, output: Colours): boolean =>
  !isRgb(pixelFormat) &&
  !isGray(pixelFormat) &&
  matrixForScaler(source.matrix) !== matrixForScaler(output.matrix) &&
  !(isSd(source.matrix) && isSd(output.matrix));
/** One matrix under two numbers (H.273, Table 4). */
const isSd = (matrix: string): boolean => matrix === 'bt601' || matrix === 'bt601-625';

const isKeptFull = (pixelFormat: string, source: Colours, output: Colours): boolean =>
  !isRgb(pixelFormat) &&
  source.range === 'full' &&
  output.range === 'full' &&
  source.matrix === output.matrix;

/** Where the first chroma sample lies, in 256ths of a luma sample to the right of the first one and below it, by the names of H.273. */
const places: Readonly<Record<Siting, readonly [across: number, down: number]>> = {
  left: [0, 128],
  center: [128, 128],
  topleft: [0, 0],
  top: [128, 0],
  bottomleft: [0, 256],
  bottom: [128, 256],
  right: [256, 128],
  topright: [256, 0],
  bottomright: [256, 256],
};

/** Where chroma lies that is halved, in 256ths as above; null: it is not halved that way. */
function chromaPlace(
  pixelFormat: string,
  stated: string | undefined,
): { readonly across: number | null; readonly down: number | null } {
  const [across, down] = places[stated !== undefined && isSiting(stated) ? stated : 'left'];
  const narrow = /^(?:yuv[aj]?4(?:20|22|11|10)p|nv|p[02]|uyvy|yuyv|yvyu|y210|uyyvyy)/.test(pixelFormat);
  const low = /^(?:yuv[aj]?4(?:20|40|10)p|nv12|nv21|p0)/.test(pixelFormat);
  return { across: narrow ? across : null, down: low ? down : null };
}

/**
 * Whether chroma is halved as before and only lies elsewhere: in a picture of the same size the scaler would copy it as it lies (measured: FFmpeg 5.1 and 7.1),
 * so that it must come through a picture that has chroma for every pixel.
 */
export function movesChroma(
  from: { readonly pixelFormat: string; readonly siting: string | undefined },
  to: { readonly pixelFormat: string; readonly siting: string | undefined },
): boolean {
  const before = chromaPlace(from.pixelFormat, from.siting);
  const behind = chromaPlace(to.pixelFormat, to.siting);
  const isHalvedAlike =
    (before.across === null) === (behind.across === null) &&
    (before.down === null) === (behind.down === null);
  return isHalvedAlike && (before.across !== behind.across || before.down !== behind.down);
}

/**
 * Options of the scaler. What is not stated lies as H.264, H.265 and MPEG-2 have it: beside the left luma sample, between two lines
 * (ISO/IEC 14496-10, Annex E: `chroma_sample_loc_type` 0 is inferred). 4:2:2 lies on the left luma sample (ITU-R BT.601, BT.709).
 */
export function chromaLocationForScaler(
  side: 'in' | 'out',
  pixelFormat: string,
  stated: string | undefined,
): string[] {
  const { across, down } = chromaPlace(pixelFormat, stated);
  return [
    ...(across === null ? [] : [`${side}_h_chr_pos=${across}`]),
    ...(down === null ? [] : [`${side}_v_chr_pos=${down}`]),
  ];
}
