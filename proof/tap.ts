/** Filters that take the fingerprints from decoded frames inside an ffmpeg graph. */
import { rgbForScaler } from './scaler-codes.ts';
import { isGray, isPlanarYuv, isRgb } from '../media/pixel-format.ts';
import { COLOUR_HEIGHT, COLOUR_WIDTH, GRID_HEIGHT, GRID_WIDTH } from './form.ts';
import { type Framing, withoutBars } from './framing.ts';

export interface TappedPicture {
  /** As ffmpeg names it. */
  readonly pixelFormat: string;
  /** Pixels, as they come to the tap; of fields that are turned here, as they leave it. */
  readonly size: { readonly width: number; readonly height: number };
  /** Which field is earlier, for an interlaced picture whose fields are to be seen apart; null: frames are whole. */
  readonly earlierField: 'top' | 'bottom' | null;
  /** Of a delivered picture: it is laid back to where it lies in the whole picture, so that its cells are the source's; null for a source. */
  readonly framing: Framing | null;
  /** Of a picture that lies on its side: as many cells across as it has down when it stands upright. */
  readonly onItsSide?: boolean;
  /** Filters that each field is made upright by, once its lines are apart. Default none. */
  readonly turned?: readonly string[];
}

export interface PictureTap {
  /** Chains of the graph. They begin at `[<from>]` and end at `[luma]` and, unless the picture has no chroma, `[colour]`. */
  readonly chains: readonly string[];
  readonly hasColour: boolean;
}

/** Area averages, the same on every machine. Values stay as they are coded: a range is a fact to be compared, not to be converted. */
const AVERAGE = 'flags=area+bitexact:in_range=full:out_range=full';
/**
 * Large pictures in two steps: beyond 256 lines or columns to one swscale's averages come out 3 % too large (with accurate_rnd
 * already at 180), measured on FFmpeg 5.1 at sizes from 1920x1440 to 16384x8640. Small ones in one, since without a change of
 * size 8 bits become 16 by another rule (v * 257).
 */
const LARGE = 64;
const FIRST_STEP = 16;
interface Cells {
  readonly width: number;
  readonly height: number;
}
const isLarge = (size: TappedPicture['size'], cells: Cells): boolean =>
  size.width > LARGE * cells.width || size.height > LARGE * cells.height;

/** Planes of the size of the whole picture, whatever their subsampling. */
function laidBack(framing: Framing | null): string[] {
  if (framing === null) return [];
  const { scaled, window } = framing;
  if (scaled.width === window.width && scaled.height === window.height) return [];
  const part = (side: 'iw' | 'ih', of: number, whole: number): string => `trunc(${side}*${of}/${whole}+0.5)`;
  return [
    `pad=w=${part('iw', scaled.width, window.width)}:h=${part('ih', scaled.height, window.height)}:x=${part('iw', window.left, window.width)}:y=${part('ih', window.top, window.height)}`,
  ];
}

/**
 * Everything that is no planar Y'CbCr becomes so on its way to the grid: RGB as BT.709 limited (`rgbBasis`), packed
 * Y'CbCr as it is.
 */
function toPlanes(
  format: string,
  {
    size,
    asItIs,
    cells,
  }: { readonly size: TappedPicture['size']; readonly asItIs: boolean; readonly cells: Cells },
): string[] {
  if (isPlanarYuv(format) || isGray(format)) return [];
  const matrix = isRgb(format)
    ? 'out_color_matrix=bt709:out_range=limited'
    : 'in_color_matrix=bt709:out_color_matrix=bt709:in_range=limited:out_range=limited';
  // Lines of two fields must not be averaged: those pictures are unpacked at their own size.
  const factor = isLarge(size, cells) ? FIRST_STEP : 1;
  const target = asItIs ? '' : `w=${factor * cells.width}:h=${factor * cells.height}:`;
  return [
    ...rgbForScaler(format),
    `scale=${target}flags=area+full_chroma_inp+full_chroma_int+bitexact:${matrix}`,
    'format=yuv444p16le',
  ];
}

/** What the values of fingerprints of RGB pictures are. */
export const rgbBasis = { matrix: 'bt709', range: 'limited' } as const;

export function pictureTap(from: string, picture: TappedPicture): PictureTap {
  const { pixelFormat: format, size, earlierField, framing, onItsSide = false, turned = [] } = picture;
  const cellsOf = (width: number, height: number): Cells =>
    onItsSide ? { width: height, height: width } : { width, height };
  const cells = cellsOf(GRID_WIDTH, GRID_HEIGHT);
  const colourCells = cellsOf(COLOUR_WIDTH, COLOUR_HEIGHT);
  const steps = isLarge(size, cells) ? [FIRST_STEP, 1] : [1];
  const shrink = ({ width, height }: Cells): string[] => [
    ...laidBack(framing),
    ...steps.flatMap((factor) => [
      `scale=w=${factor * width}:h=${factor * height}:${AVERAGE}`,
      'format=gray16le',
    ]),
  ];
  const luma = isGray(format) ? [] : ['extractplanes=y'];
  const hasColour = !isGray(format);
  // Renumbered, a second apart: stacking waits for equal times, and no time base of an encoder makes two frames one.
  const start = [
    `[${from}]settb=1`,
    'setpts=N',
    ...(framing === null ? [] : withoutBars(framing, true)),
    ...toPlanes(format, { size, asItIs: earlierField !== null, cells }),
  ];
  const chains = hasColour
    ? [`${[...start, 'split=2'].join(',')}[fingerprint-luma][fingerprint-colour]`]
    : [`${start.join(',')}[fingerprint-luma]`];
  if (earlierField === null && turned.length > 0) throw new RangeError('whole frames are turned elsewhere');
  if (earlierField === null) chains.push(`[fingerprint-luma]${[...luma, ...shrink(cells)].join(',')}[luma]`);
  else {
    const later = earlierField === 'top' ? 'bottom' : 'top';
    chains.push(
      `[fingerprint-luma]${[...luma, 'split=2'].join(',')}[fingerprint-earlier][fingerprint-later]`,
      `[fingerprint-earlier]${[`field=type=${earlierField}`, ...turned, ...shrink(cells)].join(',')}[fingerprint-earlier-small]`,
      `[fingerprint-later]${[`field=type=${later}`, ...turned, ...shrink(cells)].join(',')}[fingerprint-later-small]`,
      '[fingerprint-earlier-small][fingerprint-later-small]vstack[luma]',
    );
  }
  if (hasColour) {
    // A deinterlaced picture has the chroma of the earlier field, and a cut may lie between the two.
    const field = earlierField === null ? [] : [`field=type=${earlierField}`, ...turned];
    const small = [...field, ...shrink(colourCells)].join(',');
    chains.push(
      `[fingerprint-colour]extractplanes=u+v[fingerprint-cb][fingerprint-cr]`,
      `[fingerprint-cb]${small}[fingerprint-cb-small]`,
      `[fingerprint-cr]${small}[fingerprint-cr-small]`,
      '[fingerprint-cb-small][fingerprint-cr-small]vstack[colour]',
    );
  }
  return { chains, hasColour };
}

/** Output options for what a tap gives: nothing is repeated or dropped to keep a clock. */
export const rawPictures = (pad: string): string[] => [
  '-map',
  `[${pad}]`,
  '-fps_mode',
  'passthrough',
  '-c:v',
  'rawvideo',
  '-f',
  'rawvideo',
];
/** Raw audio as it is decoded, 32 bits. */
export const rawAudio = (stream: string): string[] => [
  '-map',
  stream,
  '-filter:a',
  'aresample=osf=s32',
  '-c:a',
  'pcm_s32le',
  '-f',
  's32le',
];
