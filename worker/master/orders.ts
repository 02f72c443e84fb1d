/** What a frame thread is told and what it answers. Everything here is copied between threads: plain values and shared bytes. */
import type { SequencePlace } from '../../media/input.ts';
import type { RawPicture } from '../../media/raw/dng/frame.ts';
import type { MasterOutcome } from '../../profiles/master/outcome.ts';

export interface MillSetup {
  /** All of one clip: the way to light, size and rate are the same in each. */
  readonly outputs: readonly { readonly outcome: MasterOutcome; /** Absolute, made already. */ readonly folder: string }[];
  /** Of a transform that lies in a file; null without. */
  readonly transformText: string | null;
  /** Raw frames are read by the threads; null: frames come with their orders. */
  readonly raw: { readonly rollFolder: string; readonly place: SequencePlace; readonly picture: RawPicture } | null;
  /** What the header says of the source: the clip's name, and where a frame of a sequence lies. */
  readonly source: string;
}

export interface FrameOrder {
  /** Of the clip, counted from 0. */
  readonly index: number;
  /** A whole frame as the decoder gives it; null for raw frames. */
  readonly bytes: SharedArrayBuffer | null;
}

export interface WrittenFrame {
  readonly name: string;
  readonly bytes: number;
  /** Of the bytes as they left the encoder, 32 hex digits. */
  readonly xxh128: string;
}

export interface FrameAnswer {
  readonly index: number;
  /** R, G, B at the points of the frame (media/trail/points.ts), before any transform. */
  readonly points: Float32Array;
  /** By output. */
  readonly written: readonly WrittenFrame[];
  /** Values that were no numbers and became 0; a good source has none. */
  readonly invalid: number;
}
