/** Colour ways inside the one decode: a view is the pictures that one of them gives, and all that is made of them. */
import { join } from 'node:path';
import type { ClipFacts } from '../../media/facts.ts';
import { pictureTap, rawPictures } from '../../proof/tap.ts';
import { canonicalJson } from '../hash.ts';
import type { Outcome } from '../outcome.ts';
import { factsSeen } from '../shown/decide.ts';
import type { Shown } from '../shown/schema.ts';
import type { TablePaths } from './shown.ts';

/** Pictures that a colour way gives. */
export interface View {
  readonly index: number;
  readonly shown: Shown;
  /** The clip as these pictures are. */
  readonly facts: ClipFacts;
  /** Where its table lies. */
  readonly table: TablePaths;
}

const sameWay = (one: Shown, other: Shown): boolean => canonicalJson(one) === canonicalJson(other);

/** Each colour way once, in the order of the deliverables. */
function waysShown(outcomes: readonly Pick<Outcome, 'shown'>[]): Shown[] {
  const ways: Shown[] = [];
  for (const { shown } of outcomes)
    if (shown !== null && !ways.some((one) => sameWay(one, shown))) ways.push(shown);
  return ways;
}

/** Which of them these pictures go; null: none, they stay as recorded. */
export function wayShown(ways: readonly Shown[], outcome: Pick<Outcome, 'shown'> | undefined): number | null {
  const shown = outcome?.shown ?? null;
  return shown === null ? null : ways.findIndex((one) => sameWay(one, shown));
}

/** `folder`: for their tables. */
export function viewsOf(
  facts: ClipFacts,
  outcomes: readonly Pick<Outcome, 'shown'>[],
  folder: string,
): View[] {
  return waysShown(outcomes).map((shown, index) => ({
    index,
    shown,
    facts: factsSeen(facts, shown),
    table: {
      spread: join(folder, `way${index}-spread.cube`),
      space: join(folder, `way${index}.cube`),
    },
  }));
}

/** null: these pictures stay as recorded. */
export function viewOf(views: readonly View[], outcome: Pick<Outcome, 'shown'> | undefined): View | null {
  const index = wayShown(
    views.map(({ shown }) => shown),
    outcome,
  );
  return index === null ? null : (views[index] ?? null);
}

/** Where what is made of recorded pictures, or of a view, begins. */
export const shownPad = (view: View | null): string => (view === null ? 'shown' : `shown-view${view.index}`);

/** Fingerprints of the pictures of a view. */
export function viewTap(
  { video }: ClipFacts,
  view: number,
): {
  readonly from: string;
  readonly chains: readonly string[];
  readonly outputs: readonly { readonly kind: 'luma' | 'colour'; readonly options: readonly string[] }[];
} {
  const tap = pictureTap('fingerprints', {
    pixelFormat: video.pixelFormat,
    size: video,
    earlierField: null,
    framing: null,
  });
  return {
    from: `fingerprints-view${view}`,
    chains: tap.chains.map((chain) => chain.replace(/\[([a-z-]+)\]/g, `[$1-view${view}]`)),
    outputs: (['luma', 'colour'] as const).map((kind) => ({
      kind,
      options: rawPictures(`${kind}-view${view}`),
    })),
  };
}
