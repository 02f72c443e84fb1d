/** Frames of fields for masters: made inside the one decode, with fingerprints of what was made. */
import { type ClipFacts, earlierField } from '../../media/facts.ts';
import { pictureTap, rawPictures } from '../../proof/tap.ts';
import { framesOfFields, stretchFilter } from './picture.ts';

export interface MadeFrames {
  readonly chains: readonly string[];
  /** The pad that the frames end at. */
  readonly end: string;
  readonly outputs: readonly { readonly of: 'luma' | 'colour'; readonly options: readonly string[] }[];
}

/** From pad `from`; of a progressive clip nothing is made. `stretch`: the frames that are taken of those that were made; absent: all. */
export function madeFrames(
  facts: ClipFacts,
  from: string,
  stretch?: { readonly start: number; readonly frames: number },
): MadeFrames {
  if (earlierField(facts.video) === null) return { chains: [], end: from, outputs: [] };
  const tap = pictureTap('fingerprints', {
    pixelFormat: facts.video.pixelFormat,
    size: facts.video,
    earlierField: null,
    framing: null,
  });
  const end = `${from}-made`;
  return {
    chains: [
      `[${from}]${[...framesOfFields(facts), ...(stretch === undefined ? [] : [stretchFilter(stretch)]), `format=${facts.video.pixelFormat}`].join(',')},split=2[${end}][fingerprints-${end}]`,
      ...tap.chains.map((chain) => chain.replace(/\[([a-z-]+)\]/g, `[$1-${end}]`)),
    ],
    end,
    outputs: (['luma', ...(tap.hasColour ? (['colour'] as const) : [])] as const).map((of) => ({
      of,
      options: rawPictures(`${of}-${end}`),
    })),
  };
}
