/** What a frame thread is ordered to do and what it answers. Everything here is copied between threads: plain values and shared bytes. */
import type { SpecialValues } from '../../media/colour/picture.ts';
import type { DpxFrame } from '../../media/formats/dpx/header.ts';
import type { ExrAttributes } from '../../media/formats/exr/frame-attributes.ts';
import type { ColourTransform } from '../../media/colour/steps.ts';
import type { SequencePlace } from '../../media/input.ts';
import type { RawFacts } from '../../media/raw-facts.ts';
import type { WholeCodes } from '../../proof/whole-codes.ts';
import type { Limited, SceneLinearRange } from '../../proof/value-range.ts';
import type { ReadAverages } from '../../proof/read-averages.ts';
import type { PipeShare } from '../../process/pipe-lock.ts';
import type { MasterOutcome } from '../../profiles/master/outcome.ts';
import type { Linearisation } from '../../profiles/master/linearisation.ts';

export interface FramePoolSetup {
  /** All deliverables of a frame pool are of one clip: their linearisation and their size are the same. */
  readonly linearisation: Linearisation;
  readonly width: number;
  readonly height: number;
  /** Folders of frames. */
  readonly outputs: readonly {
    readonly outcome: MasterOutcome /** Absolute, made already. */;
    readonly folder: string;
  }[];
  /** Pictures for encoders that are wanted, each kind once; `spots`: of these frames, codes at the pixels of the spots (spots.ts). */
  readonly feeds: readonly { readonly kind: FeedKind; readonly spots: readonly number[] }[];
  /** What each thread reads is to be held against the decoder's fingerprints: frames come from ffmpeg. */
  readonly compareReading: boolean;
  /** From code values to linear AP0; null: `way` is that of raw frames. */
  readonly transform: ColourTransform | null;
  /** Raw frames are read by the threads; null: frames come with their orders. */
  readonly raw: {
    readonly rollFolder: string;
    readonly place: SequencePlace;
    readonly picture: RawFacts['picture'];
    readonly decoder: RawFacts['decoder'];
  } | null;
  /** Coded frames in files that the threads read themselves; null: frames come with their orders, or are raw. */
  readonly files: { readonly rollFolder: string; readonly place: SequencePlace } | null;
}

/** What encoders are fed with, always ACEScct: 10-bit Y'CbCr 4:4:4, planes Y', Cb, Cr; or R'G'B' of 14 bits, planes G', B', R'. */
export type FeedKind = 'yuv10' | 'rgb14';

/** What the file of a frame is called and what its header says. */
export interface FrameHead {
  readonly file: string;
  readonly says:
    | { readonly kind: 'exr'; readonly attributes: ExrAttributes }
    | { readonly kind: 'dpx'; readonly frame: DpxFrame };
}

export interface FrameOrder {
  /** Of the clip, counted from 0. */
  readonly index: number;
  /** By output. */
  readonly heads: readonly FrameHead[];
  /** Where a frame as the decoder gives it comes from: its bytes, or a pipe that the thread reads in its turn; null for frames whose files it reads. */
  readonly from: SharedArrayBuffer | PipeShare | null;
}

export interface WrittenFrame {
  readonly name: string;
  readonly bytes: number;
  /** Of the bytes as they left the encoder, 32 hex digits. */
  readonly xxh128: string;
  /** Of the values that its encoder was given (proof/whole-frame-sketch.ts). */
  readonly sketch: Int32Array;
  /** Values that its form had no room for. */
  readonly limited: Limited;
}

/** A picture for an encoder, and what it is proved by. */
export interface EncoderInputFrame {
  /** Planes, one behind the other, 16-bit words, little-endian. Handed over, not copied. */
  readonly bytes: Uint8Array;
  /** Its part of the frame fingerprints (proof/form.ts); null of R'G'B', of which ffmpeg takes them. */
  readonly averages: { readonly luma: Uint16Array; readonly colour: Uint16Array } | null;
  /** Y', Cb, Cr or R', G', B' at the points of the frame, and at the pixels of its spots if it has any. */
  readonly points: Uint16Array;
  readonly spots: Uint16Array | null;
  /** SHA-256 of `bytes`. */
  readonly sha256: string;
  /** Of frames that have spots: every sample against the scene-linear values. */
  readonly whole: WholeCodes | null;
  /** Codes that had to be limited. */
  readonly limited: Limited;
}

/** null in its place: the pipe ended before the frame. */
export interface FrameAnswer {
  readonly index: number;
  /** R, G, B at the points of the frame (proof/pixel-samples.ts), before any transform. */
  readonly points: Float32Array;
  /** Averages of the bytes that the frame was made from; null: not asked for. */
  readonly read: ReadAverages | null;
  /** By output. */
  readonly written: readonly WrittenFrame[];
  /** By feed. */
  readonly encoderInputs: readonly EncoderInputFrame[];
  /** Values that were no numbers and became 0; a good source has none. */
  readonly invalid: number;
  /** NaN and infinite values of the source itself; null: sensor values, which have none. */
  readonly special: SpecialValues | null;
  /** Of the linear AP0 that every output was given. */
  readonly range: SceneLinearRange;
}
