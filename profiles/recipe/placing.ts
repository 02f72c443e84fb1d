/** Smooth means of luma of the source and of the encoder's input, taken inside the one decode, for proof/encoder-input/placing.ts. */
import { isGray, isPlanarYuv, isRgb } from '../../media/pixel-format.ts';
import { bitDepthOf } from '../../media/probe/picture.ts';
import { withoutBars } from '../../proof/framing.ts';
import { type PlacingGrid, placingGrid } from '../../proof/encoder-input/placing.ts';
import type { Size, TilePlan } from '../../proof/encoder-input/tiles.ts';
import { START } from './tiles.ts';

export interface PlacingChains {
  /** Pads that are wanted: behind the decoder, and at the encoder. */
  readonly decoded: string;
  readonly given: string;
  readonly chains: readonly string[];
  /** Pads that end in pipes. */
  readonly ends: Readonly<Record<'source' | 'given', string>>;
}

/** The weights of a cubic B-spline, B = 1 and C = 0, over four cells (Mitchell, Netravali 1988, "Reconstruction filters in computer graphics"). */
const SMOOTH = 'flags=bicubic+accurate_rnd+bitexact:param0=1:param1=0:in_range=full:out_range=full';
/** Large pictures first in small boxes: the scaler has 256 weights to a sample. */
const AREA = 'flags=area+accurate_rnd+bitexact:in_range=full:out_range=full';
const BOXES = 4;

function means({ columns, rows }: PlacingGrid, { width, height }: Size): string[] {
  const large = width >= 2 * BOXES * columns && height >= 2 * BOXES * rows;
  return [
    ...(large ? [`scale=w=${BOXES * columns}:h=${BOXES * rows}:${AREA}`, 'format=gray16le'] : []),
    `scale=w=${columns}:h=${rows}:${SMOOTH}`,
    'format=gray16le',
  ];
}

/** Planes of the same samples. */
function planar(pixelFormat: string): string[] {
  const bits = bitDepthOf(pixelFormat, undefined);
  const bare = 'scale=flags=accurate_rnd+bitexact:in_range=full:out_range=full';
  const deep = bits > 8 ? `${bits}le` : '';
  if (isRgb(pixelFormat)) return /^gbrp/.test(pixelFormat) ? [] : [bare, `format=gbrp${deep}`];
  if (isPlanarYuv(pixelFormat) || isGray(pixelFormat)) return [];
  return [bare, `format=yuv${/^(?:nv12|nv21|p0)/.test(pixelFormat) ? '420' : '422'}p${deep}`];
}

/** null: there is no grid. `index`: of the deliverable. */
export function placingChains(
  plan: TilePlan,
  {
    index,
    pixelFormat,
    earlierField,
    each,
    given = 'y',
  }: {
    readonly index: number;
    /** Of the source. */
    readonly pixelFormat: string;
    /** Of fields that are made into frames. */
    readonly earlierField: 'top' | 'bottom' | null;
    /** Of each of them: one, or one of each field. */
    readonly each: 1 | 2;
    /** The plane of the encoder's input that is looked at; absent: luma. */
    readonly given?: 'y' | 'g';
  },
): PlacingChains | null {
  const grid = placingGrid(plan);
  if (grid === null) return null;
  const pad = (of: string): string => `placing-${of}${index}`;
  const source = [
    `[${pad('decoded')}]${START}`,
    ...planar(pixelFormat),
    // By one of its own: what fields the encoder's frames are of is not taken from where they come from.
    ...(earlierField === null
      ? []
      : [
          `bwdif=mode=${each === 2 ? 'send_field' : 'send_frame'}:parity=${earlierField === 'top' ? 'tff' : 'bff'}:deint=all`,
        ]),
  ];
  const small = means(grid, plan.source);
  const three = isRgb(pixelFormat) ? ['r', 'g', 'b'] : ['y', 'u', 'v'];
  const { scaled, window } = plan;
  const laidBack =
    scaled.width === window.width && scaled.height === window.height
      ? []
      : [`pad=w=${scaled.width}:h=${scaled.height}:x=${window.left}:y=${window.top}`];
  return {
    decoded: pad('decoded'),
    given: pad('given'),
    chains: [
      ...(plan.lumaOf === 1
        ? [
            `${[...source, ...(isGray(pixelFormat) ? [] : ['extractplanes=y']), ...small].join(',')}[${pad('source-out')}]`,
          ]
        : [
            `${[...source, `extractplanes=${three.join('+')}`].join(',')}${three.map((one) => `[${pad(one)}]`).join('')}`,
            ...three.map((one) => `[${pad(one)}]${small.join(',')}[${pad(one)}-small]`),
            `${three.map((one) => `[${pad(one)}-small]`).join('')}vstack=inputs=3[${pad('source-out')}]`,
          ]),
      `[${pad('given')}]${[START, ...withoutBars(plan), `extractplanes=${given}`, ...laidBack, ...means(grid, scaled)].join(',')}[${pad('given-out')}]`,
    ],
    ends: { source: pad('source-out'), given: pad('given-out') },
  };
}
