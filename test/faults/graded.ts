/**
 * Faults of a picture that come in sizes: as filters of ffmpeg, for one frame or for all, on pictures of 8 bits or more. How small each may be and still be
 * found is measured by `npm run campaign -- --limits` (test/campaign/limits.ts); docs/campaign.md has the table.
 */

/** The picture that a fault is drawn into. */
export interface Canvas {
  readonly width: number;
  readonly height: number;
  /** As ffmpeg names it: planar Y'CbCr. */
  readonly pixelFormat: string;
}

/** Where and when: shares of what is free, 0 to 1; `frame` null: in all. */
export interface Spot {
  readonly across: number;
  readonly down: number;
  readonly frame: number | null;
}

export interface Graded {
  /** What a strength counts. */
  readonly unit: string;
  /** Whether it lies at a place that is drawn. */
  readonly placed: boolean;
  /** Weakest first. */
  readonly strengths: readonly number[];
  readonly filters: (strength: number, canvas: Canvas, spot: Spot) => string;
}

/** Behind other options of a filter. */
const when = ({ frame }: Spot): string => (frame === null ? '' : `:enable='eq(n,${frame})'`);
/** As the only option. */
const only = ({ frame }: Spot): string => (frame === null ? '' : `=enable='eq(n,${frame})'`);
const place = ({ width, height }: Canvas, { across, down }: Spot, w: number, h: number): [number, number] => [
  Math.round(across * (width - w)),
  Math.round(down * (height - h)),
];
const bitsOf = ({ pixelFormat }: Canvas): number => Number(/p(\d+)(?:le|be)$/.exec(pixelFormat)?.[1] ?? 8);
const unit = (canvas: Canvas): number => 2 ** (bitsOf(canvas) - 8);

interface Patch {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
  /** What is put there: cut out from here, and changed. */
  readonly from?: { readonly x: number; readonly y: number };
  readonly change: string;
}

/** A part of the picture cut out, changed and laid over it. No other sample is touched, and none converted: there is no drawing in more than 8 bits. */
function patched(
  canvas: Canvas,
  spot: Spot,
  { x, y, width, height, from = { x, y }, change }: Patch,
): string {
  const planes = canvas.pixelFormat.replace(/^yuvj/, 'yuv');
  const layout = /^yuv4(\d\d)p/.exec(planes)?.[1] ?? '20';
  const deep = bitsOf(canvas) > 8;
  return [
    'split[patch-own][patch-other]',
    `[patch-other]crop=w=${width}:h=${height}:x=${from.x}:y=${from.y}:exact=1,${change},scale=flags=accurate_rnd+bitexact,format=${planes.replace('yuv', 'yuva')}[patch]`,
    `[patch-own][patch]overlay=x=${x}:y=${y}:format=yuv4${layout}${deep ? 'p10' : ''}${when(spot)}`,
  ].join(';');
}

const grey = (canvas: Canvas): string => {
  const middle = 128 * unit(canvas);
  return `lutyuv=y=${middle}:u=${middle}:v=${middle}`;
};
const black = (canvas: Canvas): string =>
  `lutyuv=y=${16 * unit(canvas)}:u=${128 * unit(canvas)}:v=${128 * unit(canvas)}`;

export const graded = {
  'mixed-with-the-frame-before': {
    unit: 'share of it, percent',
    placed: false,
    strengths: [5, 10, 25, 50],
    filters: (share, _canvas, spot) =>
      `split[mixed-own][mixed-late];[mixed-late]tpad=start=1:start_mode=clone[mixed-before];[mixed-own][mixed-before]blend=shortest=1:all_mode=normal:all_opacity=${1 - share / 100}${when(spot)}`,
  },
  'grey-block': {
    unit: 'samples a side',
    placed: true,
    strengths: [4, 8, 16, 32],
    filters: (side, canvas, spot) => {
      const [x, y] = place(canvas, spot, side, side);
      return patched(canvas, spot, { x, y, width: side, height: side, change: grey(canvas) });
    },
  },
  'block-from-elsewhere': {
    unit: 'samples a side',
    placed: true,
    strengths: [8, 16, 32],
    filters: (side, canvas, spot) => {
      const [x, y] = place(canvas, spot, side, side).map((at) => at - (at % 2)) as [number, number];
      const even = (length: number, at: number): number => {
        const other = (at + length / 2) % (length - side);
        return Math.floor(other) - (Math.floor(other) % 2);
      };
      const from = { x: even(canvas.width, x), y: even(canvas.height, y) };
      return patched(canvas, spot, { x, y, width: side, height: side, from, change: 'null' });
    },
  },
  'dead-columns': {
    unit: 'columns',
    placed: true,
    strengths: [1, 2],
    filters: (count, canvas, spot) =>
      patched(canvas, spot, {
        ...{ x: place(canvas, spot, count, 0)[0], y: 0, width: count, height: canvas.height },
        change: black(canvas),
      }),
  },
  'dead-rows': {
    unit: 'rows',
    placed: true,
    strengths: [1, 2],
    filters: (count, canvas, spot) =>
      patched(canvas, spot, {
        ...{ x: 0, y: place(canvas, spot, 0, count)[1], width: canvas.width, height: count },
        change: black(canvas),
      }),
  },
  'black-edge': {
    unit: 'lines',
    placed: false,
    strengths: [1, 2, 4],
    filters: (lines, canvas, spot) =>
      patched(canvas, spot, {
        ...{ x: 0, y: canvas.height - lines, width: canvas.width, height: lines },
        change: black(canvas),
      }),
  },
  logo: {
    unit: 'opacity of 40 x 16, percent',
    placed: true,
    strengths: [10, 25, 50],
    filters: (opacity, canvas, spot) => {
      const [x, y] = place(canvas, spot, 40, 16);
      const towards = (value: number): string =>
        `'val*${1 - opacity / 100}+${(value * unit(canvas) * opacity) / 100}'`;
      const change = `lutyuv=y=${towards(235)}:u=${towards(128)}:v=${towards(128)}`;
      return patched(canvas, spot, { x, y, width: 40, height: 16, change });
    },
  },
  'chroma-moved': {
    unit: 'samples of chroma',
    placed: false,
    strengths: [1, 2],
    filters: (by, _canvas, spot) => `chromashift=cbh=${by}:crh=${by}${when(spot)}`,
  },
  'chroma-exchanged': {
    unit: 'as it is',
    placed: false,
    strengths: [1],
    filters: (_strength, _canvas, spot) => `swapuv${only(spot)}`,
  },
  'weaker-colours': {
    unit: 'of the saturation, percent less',
    placed: false,
    strengths: [2, 5, 10],
    filters: (less, canvas, spot) => {
      const middle = 128 * unit(canvas);
      const value = `'(val-${middle})*${1 - less / 100}+${middle}'`;
      return `lutyuv=u=${value}:v=${value}${when(spot)}`;
    },
  },
  contrast: {
    unit: 'percent more, of luma',
    placed: false,
    strengths: [1, 2, 4],
    filters: (more, canvas, spot) => {
      const black = 16 * unit(canvas);
      return `lutyuv=y='(val-${black})*${1 + more / 100}+${black}'${when(spot)}`;
    },
  },
  brightness: {
    unit: 'code values of 8 bits more',
    placed: false,
    strengths: [1, 2, 4],
    filters: (more, canvas, spot) => `lutyuv=y='val+${more * unit(canvas)}'${when(spot)}`,
  },
  blurred: {
    unit: 'samples a side',
    placed: false,
    strengths: [3, 5],
    filters: (side, _canvas, spot) => `avgblur=${(side - 1) / 2}${when(spot)}`,
  },
  mosaic: {
    unit: 'samples a side',
    placed: false,
    strengths: [2, 4, 8],
    filters: (side, _canvas, spot) => `pixelize=w=${side}:h=${side}${when(spot)}`,
  },
  'in-steps': {
    unit: 'code values a step, of luma',
    placed: false,
    strengths: [8, 16],
    filters: (step, canvas, spot) => {
      const size = step * unit(canvas);
      return `lutyuv=y='floor(val/${size})*${size}+${size / 2}'${when(spot)}`;
    },
  },
  'lines-in-pairs': {
    unit: 'as it is',
    placed: false,
    strengths: [1],
    filters: (_strength, _canvas, spot) => `il=ls=1:cs=1${when(spot)}`,
  },
} as const satisfies Record<string, Graded>;

/** How a file is coded, as far as limits go. */
export type Coding = 'vc3' | 'rdd36' | 'h264';
/** The weakest that is promised to be found in one frame, and in all; null: none is. */
type Claim = readonly [one: number | null, all: number | null];

export type GradedName = keyof typeof graded;

/** Of faults between the encoder's input and the file, measured on pictures with detail, colour and motion (docs/campaign.md). */
export const claims: Readonly<Record<GradedName, Readonly<Record<Coding, Claim>>>> = {
  'mixed-with-the-frame-before': { vc3: [25, 10], rdd36: [50, 25], h264: [null, 25] },
  'grey-block': { vc3: [16, 16], rdd36: [32, 16], h264: [32, 16] },
  'block-from-elsewhere': { vc3: [32, 16], rdd36: [32, 32], h264: [32, 32] },
  'dead-columns': { vc3: [1, 1], rdd36: [1, 1], h264: [1, 1] },
  'dead-rows': { vc3: [1, 1], rdd36: [1, 1], h264: [1, 1] },
  'black-edge': { vc3: [1, 1], rdd36: [1, 1], h264: [1, 1] },
  logo: { vc3: [25, 25], rdd36: [25, 25], h264: [50, 25] },
  'chroma-moved': { vc3: [1, 1], rdd36: [1, 1], h264: [2, 1] },
  'chroma-exchanged': { vc3: [1, 1], rdd36: [1, 1], h264: [1, 1] },
  'weaker-colours': { vc3: [5, 2], rdd36: [10, 5], h264: [10, 5] },
  contrast: { vc3: [2, 2], rdd36: [4, 2], h264: [4, 4] },
  brightness: { vc3: [2, 1], rdd36: [2, 2], h264: [2, 2] },
  blurred: { vc3: [3, 3], rdd36: [5, 5], h264: [5, 3] },
  mosaic: { vc3: [4, 4], rdd36: [8, 4], h264: [4, 4] },
  'in-steps': { vc3: [16, 16], rdd36: [16, 16], h264: [16, 16] },
  'lines-in-pairs': { vc3: [1, 1], rdd36: [null, null], h264: [1, 1] },
};

/** Whether a strength is at or above what is promised. */
export function isClaimed(name: GradedName, coding: Coding, strength: number, scope: 'one' | 'all'): boolean {
  const [one, all] = claims[name][coding];
  const least = scope === 'one' ? one : all;
  return least !== null && strength >= least;
}

export const gradedNames = Object.keys(graded) as GradedName[];
