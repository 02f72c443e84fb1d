/** Tiles, whole frames and means of a source and of what is made of it, taken inside the one decode (proof/encoder-input). */
import { type ClipFacts, earlierField } from '../../media/facts.ts';
import type { TilePlan } from '../../proof/encoder-input/tiles.ts';
import { type PlacingChains, placingChains } from './placing.ts';
import { type TileChains, tileChains } from './tiles.ts';
import { type WholeChains, wholeChains } from './whole.ts';

/** What is seen of one source and of what is made of it: by whoever compares the two. */
export interface Compared {
  readonly tiles: TileChains | null;
  readonly whole: WholeChains | null;
  readonly placing: PlacingChains | null;
}

/** `index`: of the comparer; `facts`: of what is its source. */
export function comparedOf(
  plan: TilePlan | null,
  index: number,
  { video }: ClipFacts,
  given: 'y' | 'g' = 'y',
): Compared {
  if (plan === null) return { tiles: null, whole: null, placing: null };
  const { pixelFormat } = video;
  return {
    tiles: tileChains(plan, index, pixelFormat),
    whole: wholeChains(plan, index, pixelFormat),
    placing: placingChains(plan, {
      index,
      pixelFormat,
      earlierField: plan.held > 1 ? earlierField(video) : null,
      each: plan.each,
      given,
    }),
  };
}

/** The pads that it wants of the source, and of what is made of it. */
export const decodedPads = ({ tiles, whole, placing }: Compared): string[] =>
  [tiles?.decoded, whole?.wanted.source, placing?.decoded].flatMap((pad) => pad ?? []);
export const givenPads = ({ tiles, whole, placing }: Compared): string[] =>
  [tiles?.joints.given, whole?.wanted.given, placing?.given].flatMap((pad) => pad ?? []);
