/** From the decoded pictures, or those of a colour way, to where each deliverable's own way begins: fields become frames once for all that want them so. */
import { type ClipFacts, earlierField } from '../../media/facts.ts';
import { pictureTap, rawPictures } from '../../proof/tap.ts';
import type { Outcome } from '../outcome.ts';
import type { Profile } from '../schema.ts';
import { type Fields, sharedFilters } from './picture.ts';
import { tiledPixels } from './tiled-pixels.ts';

export interface Wanted {
  readonly profile: Profile;
  readonly outcome: Outcome;
  /** Of the deliverable. */
  readonly index: number;
}

/** What a deliverable is made of. */
function fieldsFor({ video }: ClipFacts, { profile, outcome }: Pick<Wanted, 'profile' | 'outcome'>): Fields {
  if (outcome.cadence.split !== null) return 'split';
  return earlierField(video) !== null && profile.interlaced === 'keep' ? 'kept' : 'made';
}

const BRANCHES = { made: 'frames', kept: 'fields', split: 'split' } as const satisfies Record<Fields, string>;

/** From `[<from>]` to `[in<index>]` of each deliverable. */
export function sharedChains(facts: ClipFacts, from: string, wanted: readonly Wanted[]): string[] {
  const groups = (['made', 'kept', 'split'] as const)
    .map((fields) => ({ fields, own: wanted.filter((one) => fieldsFor(facts, one) === fields) }))
    .filter(({ own }) => own.length > 0);
  const starts = groups.map(({ fields }) => (groups.length === 1 ? from : `${from}-${BRANCHES[fields]}`));
  return [
    ...(groups.length < 2
      ? []
      : [`[${from}]split=${groups.length}${starts.map((start) => `[${start}]`).join('')}`]),
    ...groups.map(({ fields, own }, at) => {
      const pads = [...own.map(({ index }) => `in${index}`), ...(fields === 'split' ? [SPLIT_PAD] : [])];
      const filters = [
        ...sharedFilters(facts, fields),
        `split=${pads.length}${pads.map((pad) => `[${pad}]`).join('')}`,
      ];
      return `[${starts[at]}]${filters.join(',')}`;
    }),
  ];
}

const SPLIT_PAD = 'split-fields';

export interface SplitTap {
  readonly chains: readonly string[];
  readonly outputs: readonly { readonly of: 'luma' | 'colour'; readonly options: readonly string[] }[];
}

/** Fingerprints of the frames that fields are split into, by which the deliverables made of them are proved; of a recipe without any: none. */
export function splitTap(facts: ClipFacts, outcomes: readonly Pick<Outcome, 'cadence'>[]): SplitTap {
  if (outcomes.every(({ cadence }) => cadence.split === null)) return { chains: [], outputs: [] };
  const pixelFormat = tiledPixels(facts.video.pixelFormat);
  const tap = pictureTap('fingerprints', {
    pixelFormat,
    size: facts.video,
    earlierField: null,
    framing: null,
  });
  return {
    chains: [
      `[${SPLIT_PAD}]format=${pixelFormat}[fingerprints-split]`,
      ...tap.chains.map((chain) => chain.replace(/\[([a-z-]+)\]/g, '[$1-split]')),
    ],
    outputs: (['luma', ...(tap.hasColour ? (['colour'] as const) : [])] as const).map((of) => ({
      of,
      options: rawPictures(`${of}-split`),
    })),
  };
}
