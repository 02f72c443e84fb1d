/** What `ffmpeg-with-a-fault.mjs` can be told to do to the encode of a night. */

/**
 * Where the fault sits. `decoder`: behind it, so that everything the command tells and makes is of the wrong pictures.
 * `scaler`: before what a profile does to the picture, behind the fingerprints. `encoder`: before it, in one output; whatever else the command tells is right. `file`: the encoders did well, and the
 * finished file was spoiled.
 */
export const stages = ['decoder', 'scaler', 'encoder', 'file'] as const;
export type Stage = (typeof stages)[number];

/** One fault each in several outputs of one encode. */
export interface Several {
  readonly do: 'several';
  readonly operations: readonly Operation[];
}

export type Operation =
  | { readonly do: 'none' }
  /** Ends with 0 at once, with nothing written. */
  | { readonly do: 'nothing' }
  | { readonly do: 'hang' }
  /** Picture i is what picture map[i] should be; `count`: how many there should be. */
  | {
      readonly do: 'frames';
      readonly stage: Stage;
      readonly profile: string;
      readonly map: readonly number[];
      readonly count: number;
    }
  /** Further filters on the picture. `retag`: its colour tags stay what they were. */
  | {
      readonly do: 'filter';
      readonly stage: Stage;
      readonly profile: string;
      readonly filters: string;
      readonly retag: boolean;
      /** False: smaller than what is promised to be found. */
      readonly claimed?: boolean;
    }
  /** Another text in the filter graph, where it is said first; `every`: wherever it is said. */
  | {
      readonly do: 'graph';
      readonly stage: 'encoder';
      readonly from: string;
      readonly to: string;
      readonly every?: true;
    }
  /** The pictures of a colour way go through another table. */
  | {
      readonly do: 'other-table';
      readonly stage: 'encoder';
      readonly spread: string;
      readonly space: string;
      readonly claimed?: boolean;
    }
  /** `at` null: everything, audio too; else that picture alone. With `decoder` always everything. */
  | {
      readonly do: 'other-clip';
      readonly stage: Stage;
      readonly profile: string;
      readonly clip: string;
      readonly at: number | null;
    }
  | {
      readonly do: 'option';
      readonly stage: 'encoder';
      readonly profile: string;
      readonly option: string;
      readonly value: string;
    }
  /** Further filters on an audio track, before it gets its length. */
  | {
      readonly do: 'audio';
      readonly stage: 'encoder' | 'file';
      readonly profile: string;
      readonly track: number;
      readonly filters: string;
      readonly claimed?: boolean;
    }
  | { readonly do: 'swap-tracks'; readonly stage: 'encoder' | 'file'; readonly profile: string }
  /** One bit of one packet. */
  | {
      readonly do: 'bit';
      readonly stage: 'file';
      readonly profile: string;
      readonly stream: 'vide' | 'soun';
      readonly sample: number;
      readonly bit: number;
    }
  | { readonly do: 'truncate'; readonly stage: 'file'; readonly profile: string; readonly bytes: number }
  | {
      readonly do: 'timecode';
      readonly stage: 'file';
      readonly profile: string;
      readonly frames: number;
      readonly dropFlag: boolean;
      /** Written in the place of the base. Absent: it stays. */
      readonly base?: number;
    }
  | { readonly do: 'lose-track'; readonly stage: 'file'; readonly profile: string; readonly track: number }
  /** Bytes of one packet of the clip turned over, from the share `from` of it on; the decoder's complaints are kept back. */
  | {
      readonly do: 'damage';
      readonly stage: 'decoder';
      readonly sample: number;
      readonly from: number;
      readonly bytes: number;
    };
