/**
 * Pictures that are stored lying on their side, upside down or mirrored, as every part behind the decoder sees them: upright. The decoder turns nothing by
 * itself (`AS_CODED`); the recipe turns, by filters that move samples and change none.
 */
import type { FieldOrder, VideoFacts } from './facts.ts';
import { isGray, isPlanarYuv, isRgb, planesOf } from './pixel-format.ts';

/** What makes a coded picture upright: mirrored left for right where it is so, then turned clockwise. */
export interface Turn {
  readonly rotation: VideoFacts['rotation'];
  readonly mirrored: boolean;
}

type Turned = Pick<VideoFacts, 'rotation' | 'mirrored'>;

export const turnOf = ({ rotation, mirrored = false }: Turned): Turn => ({ rotation, mirrored });
export const isUpright = ({ rotation, mirrored }: Turn): boolean => rotation === 0 && !mirrored;
export const isQuarter = ({ rotation }: Turn): boolean => rotation === 90 || rotation === 270;

/** For people. */
export const turnText = ({ rotation, mirrored }: Turn): string =>
  [
    ...(mirrored ? ['mirrored left for right'] : []),
    ...(rotation === 0 ? [] : [`turned by ${rotation} degrees clockwise`]),
  ].join(', then ') || 'upright';

/** An option of ffmpeg for the input that stands behind it. */
export const AS_CODED = ['-noautorotate'] as const;

/** EXIF Orientation (also TIFF 6.0 and DNG), 1 to 8: where row 0 and column 0 are to be seen. Others are none. */
const OF_ORIENTATION: Readonly<Record<number, Turn>> = {
  1: { rotation: 0, mirrored: false },
  2: { rotation: 0, mirrored: true },
  3: { rotation: 180, mirrored: false },
  4: { rotation: 180, mirrored: true },
  5: { rotation: 270, mirrored: true },
  6: { rotation: 90, mirrored: false },
  7: { rotation: 90, mirrored: true },
  8: { rotation: 270, mirrored: false },
};

export const turnOfOrientation = (orientation: number): Turn | null => OF_ORIENTATION[orientation] ?? null;

/**
 * Of a display matrix (ISO/IEC 14496-12, 6.2.2): a coded point x, y is shown at a x + c y, b x + d y. null: it shears, or turns by anything but quarters.
 * A mirrored one has a negative determinant.
 */
export function turnOfMatrix(a: number, b: number, c: number, d: number): Turn | null {
  const straight = b === 0 && c === 0 && a !== 0 && d !== 0;
  const across = a === 0 && d === 0 && b !== 0 && c !== 0;
  if (!straight && !across) return null;
  const mirrored = straight ? a * d < 0 : b * c > 0;
  // Where lines, which a mirror leaves in place, go.
  const rotation = straight ? (d > 0 ? 0 : 180) : c < 0 ? 90 : 270;
  return { rotation, mirrored };
}

type Site = readonly [across: -1 | 0 | 1, down: -1 | 0 | 1];

/** Where each siting of H.273 lies in its cell of luma samples, and the three that it has no name for: pictures that were turned have them. */
const SITES: Readonly<Record<string, Site>> = {
  left: [-1, 0],
  center: [0, 0],
  topleft: [-1, -1],
  top: [0, -1],
  bottomleft: [-1, 1],
  bottom: [0, 1],
  right: [1, 0],
  topright: [1, -1],
  bottomright: [1, 1],
};

const aQuarterOn = ([across, down]: Site): Site => [down === 0 ? 0 : down === 1 ? -1 : 1, across];
const inAMirror = ([across, down]: Site): Site => [across === 0 ? 0 : across === 1 ? -1 : 1, down];

/** Chroma turns with the samples that it belongs to. */
export function turnedSiting(siting: string, { rotation, mirrored }: Turn): string {
  const recorded = SITES[siting];
  if (recorded === undefined) return siting;
  let at = mirrored ? inAMirror(recorded) : recorded;
  for (let quarters = rotation / 90; quarters > 0; quarters -= 1) at = aQuarterOn(at);
  const [across, down] = at;
  return (
    Object.keys(SITES).find((name) => SITES[name]?.[0] === across && SITES[name]?.[1] === down) ?? siting
  );
}

/** 4:2:2 on its side has half the lines of chroma, and all its columns. */
const ON_ITS_SIDE: Readonly<Record<string, string>> = { '422': '440', '440': '422' };
/** Depths of 4:4:0 that ffmpeg has. */
const OF_440 = ['', '10le', '12le'];

/** null: ffmpeg has no such pixels. */
function pixelsOnTheirSide(pixelFormat: string): string | null {
  const parts = /^yuv(j?)(422|440)p(\d*(?:le|be)?)$/.exec(pixelFormat);
  if (parts === null) {
    const planes = planesOf(pixelFormat);
    return planes.every(({ across, down }) => across === down) ? pixelFormat : null;
  }
  const [, full = '', layout = '', depth = ''] = parts;
  return OF_440.includes(depth) ? `yuv${full}${ON_ITS_SIDE[layout]}p${depth}` : null;
}

const isPlanar = (pixelFormat: string): boolean =>
  isPlanarYuv(pixelFormat) || isGray(pixelFormat) || isRgb(pixelFormat) || /^nv12$|^p01/.test(pixelFormat);

/** Which field is the earlier one in a picture whose lines go the other way: of an even number of lines the other one. */
const OTHER_FIELD: Readonly<Record<FieldOrder, FieldOrder>> = {
  progressive: 'progressive',
  unknown: 'unknown',
  'top-first': 'bottom-first',
  'bottom-first': 'top-first',
};

/** The sides of the coded picture along which samples come to lie in the other order. */
const flipped = ({ rotation, mirrored }: Turn): { across: boolean; down: boolean } => ({
  across: (rotation === 180 || rotation === 270) !== mirrored,
  down: rotation === 90 || rotation === 180,
});

/** Why these pictures cannot be made upright; null: they can. */
export function whyNotUpright(video: VideoFacts): string | null {
  const turn = turnOf(video);
  if (isUpright(turn)) return null;
  const { pixelFormat, width, height, fieldOrder } = video;
  if (!isPlanar(pixelFormat)) return `pixel format ${pixelFormat}`;
  if (isQuarter(turn) && pixelsOnTheirSide(pixelFormat) === null)
    return `pixel format ${pixelFormat} on its side`;
  const { across, down } = flipped(turn);
  const narrow = planesOf(pixelFormat);
  // Where chroma of wider cells lies has no name that could be turned.
  if (narrow.some((plane) => plane.across > 2)) return `pixel format ${pixelFormat}`;
  const splits = (side: number, of: 'across' | 'down'): boolean =>
    narrow.some((plane) => side % plane[of] !== 0);
  if ((across && splits(width, 'across')) || (down && splits(height, 'down')))
    return `${width}x${height}, of which the last chroma sample has half a place`;
  if (fieldOrder === 'progressive' || fieldOrder === 'unknown') return null;
  if (isQuarter(turn)) return 'fields that lie across';
  // The fields of chroma change places with those of luma.
  return down && height % 4 !== 0 ? `fields of ${height} lines` : null;
}

/** As if the clip had been recorded upright; throws RangeError where that cannot be (`whyNotUpright`). */
export function uprightVideo(video: VideoFacts): VideoFacts {
  const turn = turnOf(video);
  if (isUpright(turn)) return video;
  const why = whyNotUpright(video);
  if (why !== null) throw new RangeError(`not to be made upright: ${why}`);
  const { mirrored: _, chromaSiting, ...rest } = video;
  const { width, height, pixelAspect, pixelFormat } = video;
  const isNarrow = planesOf(pixelFormat).some(({ across, down }) => across * down > 1);
  return {
    ...rest,
    ...(isQuarter(turn)
      ? {
          width: height,
          height: width,
          pixelAspect: { num: pixelAspect.den, den: pixelAspect.num },
          pixelFormat: pixelsOnTheirSide(pixelFormat) ?? pixelFormat,
        }
      : {}),
    ...(isNarrow ? { chromaSiting: turnedSiting(chromaSiting ?? 'left', turn) } : {}),
    fieldOrder: flipped(turn).down ? OTHER_FIELD[video.fieldOrder] : video.fieldOrder,
    rotation: 0,
  };
}

/** Raw frames are turned while they are developed, and stay as they are here. */
export const uprightFacts = <Facts extends { readonly video: VideoFacts; readonly raw?: unknown }>(
  facts: Facts,
): Facts => (facts.raw === undefined ? { ...facts, video: uprightVideo(facts.video) } : facts);

/** Filters that move samples of one plane, or of pixels whose chroma is as fine both ways, and change none. */
export function turnFilters({ rotation, mirrored }: Turn): string[] {
  switch (rotation) {
    case 0:
      return mirrored ? ['hflip'] : [];
    case 90:
      return [`transpose=dir=${mirrored ? 'clock_flip' : 'clock'}`];
    case 180:
      return mirrored ? ['vflip'] : ['hflip', 'vflip'];
    default:
      return [`transpose=dir=${mirrored ? 'cclock_flip' : 'cclock'}`];
  }
}

/** Chains of a graph from the coded picture at pad `from` to the upright one at pad `to`; `key`: of their own pads. */
export function uprightChains(video: VideoFacts, from: string, to: string, key = ''): string[] {
  const turn = turnOf(video);
  const filters = turnFilters(turn);
  if (filters.length === 0) return [`[${from}]null[${to}]`];
  const { pixelFormat } = uprightVideo(video);
  if (pixelFormat === video.pixelFormat) return [`[${from}]${filters.join(',')}[${to}]`];
  // Plane by plane: nothing turns pictures whose chroma is finer one way than the other.
  const planes = ['y', 'u', 'v'];
  const pad = (plane: string, end: string): string => `[turn-${plane}${key}${end}]`;
  return [
    `[${from}]extractplanes=${planes.join('+')}${planes.map((plane) => pad(plane, '')).join('')}`,
    ...planes.map((plane) => `${pad(plane, '')}${filters.join(',')}${pad(plane, '-on')}`),
    `${planes.map((plane) => pad(plane, '-on')).join('')}mergeplanes=mapping=0x001020:format=${pixelFormat}[${to}]`,
  ];
}
