/** The colour way inside the one decode: from decoded frames to R'G'B' as recorded, through the table to those of the display, and what is looked at on the way. */
import { type ClipFacts, earlierField, uprightSize } from '../../media/facts.ts';
import { tilePlan, type TilePlan } from '../../proof/encoder-input/tiles.ts';
import { rawPictures } from '../../proof/tap.ts';
import { thinned } from '../../proof/colour-way/thin.ts';
import { matrixForScaler } from '../ffmpeg-names.ts';
import { SHOWN_PIXELS } from '../shown/decide.ts';
import type { ShownRecorded } from '../shown/schema.ts';
import { graphValue } from './escape.ts';
import { chromaLocationForScaler, levelsBeforeScaler } from './levels.ts';
import { SCALE_FLAGS } from './picture.ts';
import { seedOf, START } from './tiles.ts';

/** Filters from the decoded picture to R'G'B' of 14 bits, at its own size. */
export function recordedRgb({ video }: ClipFacts, { matrix, range, siting }: ShownRecorded): string[] {
  const before = levelsBeforeScaler(
    video.pixelFormat,
    { matrix, range },
    // Another range than full, whatever it is: R'G'B' are made of limited range.
    { matrix, range: 'limited' },
  );
  const chroma = chromaLocationForScaler('in', video.pixelFormat, siting ?? undefined).map(
    (item) => `:${item}`,
  );
  return [
    ...before.filters,
    `scale=flags=${SCALE_FLAGS}:in_color_matrix=${matrixForScaler(matrix)}:in_range=${before.range}${chroma.join('')}`,
    `format=${SHOWN_PIXELS}`,
  ];
}

/** Files of the table: its curve and its space. */
export interface TablePaths {
  readonly spread: string;
  readonly space: string;
}

/** The curve has a place for every code, so that nothing lies between two. */
export const throughTable = ({ spread, space }: TablePaths): string =>
  `lut1d=file=${graphValue(spread)}:interp=nearest,lut3d=file=${graphValue(space)}:interp=tetrahedral`;

/** Where the recorded R'G'B' are looked at. */
export function recordedTiles(facts: ClipFacts): TilePlan {
  const size = uprightSize(facts.video);
  return tilePlan({
    source: size,
    framing: { scaled: size, window: { left: 0, top: 0, ...size }, covered: [], inset: null },
    fields: earlierField(facts.video) === null ? 'none' : 'frames',
    frames: facts.video.frames,
    rgb: false,
    throughRgb: true,
    throughWhole: false,
    seed: seedOf(facts),
  });
}

export interface ThinChains {
  /** Pads that are wanted, before the table and behind it. */
  readonly before: string;
  readonly behind: string;
  readonly chains: readonly string[];
  readonly outputs: readonly { readonly of: 'before' | 'behind'; readonly options: readonly string[] }[];
}

/** `view`: counted from 0. */
export function thinChains(facts: ClipFacts, view: number): ThinChains {
  const { width, height, square } = thinned(uprightSize(facts.video));
  const pad = (of: string): string => `thin-${of}${view}`;
  // Every pixel of a square comes once in as many frames as it has pixels: a row of eight places, and the next one a line lower.
  // The scaler passes planes as they are when it takes them for Y'CbCr; of each square it gives the pixel in the middle.
  const thin = [
    'mergeplanes=mapping=0x000102:format=yuv444p14le',
    `crop=w=${square * width}:h=${square * height}:x=mod(n*5\\,${square}):y=mod(n*3+floor(n/${square})\\,${square}):exact=1`,
    `scale=w=${width}:h=${height}:flags=neighbor+accurate_rnd+bitexact:in_range=limited:out_range=limited`,
    'format=yuv444p14le',
  ];
  const sides = ['before', 'behind'] as const;
  return {
    before: pad('before'),
    behind: pad('behind'),
    chains: sides.map((of) => `[${pad(of)}]${[START, ...thin].join(',')}[${pad(of)}-out]`),
    outputs: sides.map((of) => ({ of, options: rawPictures(`${pad(of)}-out`) })),
  };
}
