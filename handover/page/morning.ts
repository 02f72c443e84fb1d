/** What the morning page is made of. */
import type { Finding } from '../../findings/finding.ts';
import type { Day } from '../day.ts';
import type { DayDifferences } from '../consistency/differences.ts';

/**
 * `unrecorded`: no run says anything of itself. `running`: at work. `unfinished`: it began, did not end, and nobody is at work.
 */
export type NightState =
  | { readonly kind: 'unrecorded' }
  | { readonly kind: 'running' | 'unfinished'; readonly began: string }
  | { readonly kind: 'ended' | 'interrupted'; readonly began: string; readonly ended: string };

/** A roll that the shoot day had and the delivery has no record of. */
export interface RollWithoutRecord {
  readonly roll: string;
  readonly findings: readonly Finding[];
}

/** A still as it lies in the page. */
export interface PagePicture {
  readonly base64: string;
  readonly width: number;
  readonly height: number;
  /** Of the frame that it shows; null: the clip has none. */
  readonly timecode: string | null;
}

export interface Morning {
  readonly day: Day;
  readonly state: NightState;
  readonly unrecorded: readonly RollWithoutRecord[];
  /** Of the run as a whole. */
  readonly findings: readonly Finding[];
  /** By `pictureKey`. */
  readonly pictures: ReadonlyMap<string, PagePicture>;
  /** Why clips have none here; null: each has what there is. */
  readonly withoutPictures: string | null;
  /** Paths of contact sheets from the page, by roll. */
  readonly sheets: ReadonlyMap<string, readonly string[]>;
  /** null: nothing is known of the days before. */
  readonly differences: DayDifferences | null;
}

export const pictureKey = (roll: string, clip: string): string => `${roll}\n${clip}`;
