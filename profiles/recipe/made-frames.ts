/** Frames of fields for masters: made inside the one decode, with fingerprints of what was made. */
import { type ClipFacts, earlierField } from '../../media/facts.ts';
import { madeWhole } from '../../media/fields.ts';
import { isUpright, turnOf, uprightChains, uprightVideo } from '../../media/upright.ts';
import { pictureTap, rawPictures } from '../../proof/tap.ts';
import { framesOfFields, stretchFilter } from './picture.ts';

export interface MadeFrames {
  readonly chains: readonly string[];
  /** The pad that the frames end at. */
  readonly end: string;
  readonly outputs: readonly { readonly of: 'luma' | 'colour'; readonly options: readonly string[] }[];
}

/** From pad `from`, of pictures as they are coded, to upright ones; of a progressive clip nothing is made. `stretch`: the frames that are taken of those that were made; absent: all. */
export function madeFrames(
  recorded: ClipFacts,
  from: string,
  stretch?: { readonly start: number; readonly frames: number },
): MadeFrames {
  if (earlierField(recorded.video) === null) return { chains: [], end: from, outputs: [] };
  const coded = madeWhole(recorded).video;
  const upright = uprightVideo(coded);
  const tap = pictureTap('fingerprints', {
    pixelFormat: upright.pixelFormat,
    size: upright,
    earlierField: null,
    framing: null,
  });
  const end = `${from}-made`;
  const whole = [
    ...framesOfFields(recorded),
    ...(stretch === undefined ? [] : [stretchFilter(stretch)]),
    `format=${coded.pixelFormat}`,
  ].join(',');
  const taken = `split=2[${end}][fingerprints-${end}]`;
  return {
    chains: [
      ...(isUpright(turnOf(coded))
        ? [`[${from}]${whole},${taken}`]
        : [
            `[${from}]${whole}[${from}-whole]`,
            ...uprightChains(coded, `${from}-whole`, `${from}-upright`, `-${from}`),
            `[${from}-upright]${taken}`,
          ]),
      ...tap.chains.map((chain) => chain.replace(/\[([a-z-]+)\]/g, `[$1-${end}]`)),
    ],
    end,
    outputs: (['luma', ...(tap.hasColour ? (['colour'] as const) : [])] as const).map((of) => ({
      of,
      options: rawPictures(`${of}-${end}`),
    })),
  };
}
