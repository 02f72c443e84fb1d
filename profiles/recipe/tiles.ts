/** Tiles of the source and of the encoder's input, cut out inside the one decode at the places that proof/encoder-input/tiles.ts draws. */
import { createHash } from 'node:crypto';
import { type ClipFacts, earlierField, uprightSize } from '../../media/facts.ts';
import { isRgb } from '../../media/pixel-format.ts';
import { withoutBars } from '../../proof/framing.ts';
import { isMatrix } from '../../proof/levels.ts';
import { layoutOf } from '../../proof/encoder-input/samples.ts';
import {
  type Draw,
  type Joint,
  placesOf,
  RING,
  stackedSide,
  type Tile,
  type TilePlan,
  tilePlan,
} from '../../proof/encoder-input/tiles.ts';
import { pixelsForFfmpeg } from '../ffmpeg-names.ts';
import type { Outcome } from '../outcome.ts';
import type { Profile } from '../schema.ts';
import { tiledPixels } from './tiled-pixels.ts';
import { goesThroughRgb, movesChroma } from './levels.ts';

/**
 * Where a deliverable is looked at; null: it keeps every sample, which is proved by their hashes, or its source has pixels that nobody
 * computes again (a palette, floating point, an unknown order).
 */
export function tilesOf(facts: ClipFacts, profile: Profile, outcome: Outcome): TilePlan | null {
  const { proof, colour } = outcome;
  if (outcome.exact !== null || profile.pixels === 'source') return null;
  if (
    layoutOf(tiledPixels(facts.video.pixelFormat)) === null ||
    layoutOf(pixelsForFfmpeg(profile.pixels)) === null
  )
    return null;
  if (!isMatrix(proof.basis.matrix) || !isMatrix(colour.matrix ?? '')) return null;
  const { video } = facts;
  const range = { range: 'limited' } as const;
  return tilePlan({
    source: uprightSize(video),
    framing: proof.framing,
    fields: outcome.cadence.split !== null ? 'split' : earlierField(video) === null ? 'none' : 'frames',
    frames: outcome.frames,
    rgb: isRgb(video.pixelFormat),
    throughRgb: goesThroughRgb(
      video.pixelFormat,
      { matrix: proof.basis.matrix, ...range },
      { matrix: colour.matrix ?? '', ...range },
    ),
    throughWhole: movesChroma(
      { pixelFormat: video.pixelFormat, siting: video.chromaSiting },
      { pixelFormat: pixelsForFfmpeg(profile.pixels), siting: outcome.chromaSiting ?? undefined },
    ),
    seed: seedOf(facts),
  });
}

/** Laid into planes at their own size; none of them is changed. */
export function unpacked(pixelFormat: string): string[] {
  const planes = tiledPixels(pixelFormat);
  return planes === pixelFormat ? [] : ['scale=flags=accurate_rnd+bitexact', `format=${planes}`];
}

/** What of the clip is known before it is decoded: its packets and its size. */
export function seedOf({ video }: ClipFacts): string {
  const { bytes, frames, smallestPacket, largestPacket, width, height } = video;
  return createHash('sha256')
    .update(JSON.stringify([bytes, frames, smallestPacket, largestPacket, width, height]))
    .digest('hex');
}

const either = (numbers: readonly number[]): string => numbers.map((number) => `eq(p\\,${number})`).join('+');

/** The place of a tile, in the expressions of `crop`: `n` counts frames of the source, or those that are made. */
function places(
  plan: TilePlan,
  tile: Tile,
  of: 'source' | 'made',
): { given: [string, string]; source: [string, string] } {
  const counted = of === 'made' && plan.each === 2 ? 'floor(n/2)' : 'n';
  const number = plan.held === 1 ? counted : `floor((${counted}+${tile.phase})/${plan.held})`;
  const counts = placesOf(plan, tile);
  const drawn = ([a, b, c]: Draw, count: number): string =>
    `mod(${number}*${number}*${a}+${number}*${b}+${c}\\,${count})`;
  const side = (of: 0 | 1, draw: Draw, count: number): string => {
    if (!tile.edge) return drawn(draw, count);
    const at = (third: number): string =>
      either(RING.flatMap((ring, index) => (ring[of] === third ? [index] : []))).replaceAll(
        'eq(p',
        `eq(mod(${number}\\,${RING.length})`,
      );
    return `if(${at(0)}\\,0\\,if(${at(2)}\\,${count - 1}\\,${drawn(draw, count)}))`;
  };
  const x = `${plan.step.given}*${side(0, tile.across, counts.across)}`;
  const y = `${tile.from}+${plan.step.given}*${side(1, tile.down, counts.down)}`;
  const source = (made: string, of: 'across' | 'down'): string => {
    const side = of === 'across' ? 'width' : 'height';
    const first = of === 'across' ? plan.window.left : plan.window.top;
    const [whole, scaled, cut] = [plan.source[side], plan.scaled[side], plan.cut[side]];
    const { source: step } = plan.step;
    return `max(0\\,min(${whole - cut}\\,${step}*floor(((${made}+${first})*${whole}/${scaled}-${plan.margin[of]})/${step})))`;
  };
  return { given: [x, y], source: [source(x, 'across'), source(y, 'down')] };
}

/** Renumbered, a second apart, as every tap is: stacking waits for equal times. */
export const START = 'settb=1,setpts=N';

interface Cut {
  readonly from: string;
  readonly tile: Tile;
  readonly to: string;
}

/** Chains that cut tiles from pads: each pad is split into as many as it has tiles. */
function cuts(all: readonly Cut[], cut: (tile: Tile) => string, first: readonly string[] = []): string[] {
  return [...new Set(all.map(({ from }) => from))].flatMap((from) => {
    const own = all.filter((one) => one.from === from);
    return [
      `[${from}]${[START, ...first].join(',')},split=${own.length}${own.map(({ to }) => `[${to}-in]`).join('')}`,
      ...own.map(({ tile, to }) => `[${to}-in]${cut(tile)}[${to}]`),
    ];
  });
}

const stacked = (pads: readonly string[], into: string): string =>
  pads.length === 1
    ? `[${pads[0]}]null[${into}]`
    : `${pads.map((pad) => `[${pad}]`).join('')}vstack=inputs=${pads.length}[${into}]`;

export interface TileChains {
  /** Pads that are wanted behind the decoder, and of the picture at each joint. */
  readonly decoded: string;
  readonly joints: Readonly<Partial<Record<Joint, string>>>;
  readonly chains: readonly string[];
  /** Pads that end in pipes: of the source, and of the encoder's input. */
  readonly source: string;
  readonly given: string;
}

/** `index`: of the deliverable; `pixelFormat`: of the source. */
export function tileChains(plan: TilePlan, index: number, pixelFormat: string): TileChains {
  const decoded = `tiles-decoded${index}`;
  const joint = (of: Joint): string => `tiles-${of}${index}`;
  const crop = ({ width, height }: { width: number; height: number }, [x, y]: [string, string]): string =>
    [
      `crop=w=${width}:h=${height}:x=${x}:y=${y}:exact=1`,
      ...(stackedSide(width) === width && stackedSide(height) === height
        ? []
        : [`pad=w=${stackedSide(width)}:h=${stackedSide(height)}`]),
    ].join(',');
  const sources = plan.tiles.map((tile, at) => ({ from: decoded, tile, to: `tile-source${index}-${at}` }));
  const given = plan.tiles.map((tile, at) => ({
    from: joint(tile.joint),
    tile,
    to: `tile-given${index}-${at}`,
  }));
  const used = [...new Set(plan.tiles.map((tile) => tile.joint))];
  return {
    decoded,
    joints: Object.fromEntries(used.map((of) => [of, joint(of)])),
    chains: [
      ...cuts(sources, (tile) => crop(plan.cut, places(plan, tile, 'source').source), unpacked(pixelFormat)),
      stacked(
        sources.map(({ to }) => to),
        `tiles-source-out${index}`,
      ),
      ...cuts(given, (tile) => crop(plan.given, places(plan, tile, 'made').given), withoutBars(plan)),
      stacked(
        given.map(({ to }) => to),
        `tiles-given-out${index}`,
      ),
    ],
    source: `tiles-source-out${index}`,
    given: `tiles-given-out${index}`,
  };
}
