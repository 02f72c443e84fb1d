/**
 * A cut as it is read from a list or a timeline: which stretches of which clips it shows, in the words of whoever wrote it. Nothing here knows the day: what each
 * use leads to is decided elsewhere (coordinator/pull). `at` says where in the document it stands, for people.
 */
import type { Rate } from '../../media/time/rate.ts';

/** By labels of the source, which count in a rate that the list does not state. */
export interface LabelUse {
  readonly kind: 'labels';
  readonly in: string;
  /** Of the first frame behind it. */
  readonly out: string;
  /** Whether the list says that its labels drop. */
  readonly drop: boolean;
  readonly recordIn: string;
  readonly recordOut: string;
  /** Frames behind `out` that a transition shows as well. */
  readonly longer: number;
  /** Of M2 lines, in their order: frames a second, as written, below 0 backwards, and from which label on. A freeze: 0. None: as recorded. */
  readonly speeds: readonly SpeedFrom[];
}

export interface SpeedFrom {
  readonly framesPerSecond: number;
  /** null: from the first frame on. */
  readonly from: string | null;
}

/** By count at a rate; a part of a frame counts as one. */
export interface CountUse {
  readonly kind: 'count';
  readonly start: number;
  readonly frames: number;
  readonly rate: Rate;
  /** What the document says that the media has, at the same rate; null: it does not. */
  readonly available: { readonly start: number; readonly frames: number } | null;
  /** Why it cannot be said which frames are shown; null: it can. */
  readonly unfollowed: string | null;
  /** What runs otherwise than forwards and at one speed, in words: the frames are all that any reading of it needs. null: nothing. */
  readonly union: string | null;
  /** Of these frames, how many lie before the range that the document states, where one of the readings has them. */
  readonly before: number;
}

export interface CutUse {
  readonly at: string;
  /** Line of the document; null: it has none to speak of. */
  readonly line: number | null;
  /** Names of the clip and of its files, as written. */
  readonly names: readonly string[];
  readonly files: readonly string[];
  /** The whole name of a reel goes before its short one. */
  readonly reels: readonly string[];
  /** By a document of ours. */
  readonly ours: { readonly roll: string; readonly clip: string } | null;
  readonly source: LabelUse | CountUse;
}

/** What is wrong with the document itself. */
export interface CutFault {
  readonly line: number | null;
  readonly found: string;
  readonly expected: string;
}

export interface Cut {
  readonly form: 'edl' | 'otio';
  readonly title: string;
  /** That the labels of a list count in, where it says so. */
  readonly rate: Rate | null;
  readonly uses: readonly CutUse[];
  /** Parts that show nothing of a clip, or none of its pictures: how many of each kind. */
  readonly left: ReadonlyMap<string, number>;
  readonly faults: readonly CutFault[];
}

/** For people: how much of a document is quoted. */
const LONGEST = 100;
export const quoted = (text: string): string =>
  JSON.stringify(text.length > LONGEST ? `${text.slice(0, LONGEST)}…` : text);
