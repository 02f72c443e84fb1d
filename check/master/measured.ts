/** What was measured of a master, from its bytes on disk, frame by frame. */
import type { FolderDigest } from '../../files/folder-digest.ts';

export type Ends = readonly [red: number, green: number, blue: number];
/** Of values that could not be read. */
export const NO_ENDS = {
  least: [Number.POSITIVE_INFINITY, Number.POSITIVE_INFINITY, Number.POSITIVE_INFINITY],
  greatest: [Number.NEGATIVE_INFINITY, Number.NEGATIVE_INFINITY, Number.NEGATIVE_INFINITY],
  overWhite: 0,
} as const;

export interface FrameMeasured {
  /** Of the clip, counted from 0. */
  readonly index: number;
  readonly name: string;
  readonly bytes: number;
  readonly sha256: string;
  readonly xxh128: string;
  /** What keeps it from being a whole frame of its form; none in a good one. */
  readonly faults: readonly string[];
  /** Of its header, by the names of the outcome; null where it could not be read. */
  readonly said: FrameSaid | null;
  /** Bytes in front of the picture's storage; null where it could not be read. */
  readonly headerBytes: number | null;
  /** R, G, B at the points of the frame, and at the pixels of its spot if it has one: linear AP0, or 10-bit codes of DPX. */
  readonly points: Float32Array | null;
  readonly spot: Float32Array | null;
  /** Of all values (proof/whole-frame-sketch.ts); null where they could not be read. */
  readonly sketch: Int32Array | null;
  /** Values at the greatest magnitude that the form has; of DPX at either end of its scale. */
  readonly atLimit: number;
  /** Values that are no numbers, or infinite. */
  readonly notFinite: number;
  /** Of R, G, B, the least and the greatest of the others; of DPX, codes. Infinite the wrong way round where nothing could be read. */
  readonly least: Ends;
  readonly greatest: Ends;
  /** Pixels of which every channel is above scene-linear 1.0. */
  readonly overWhite: number;
}

/** What a header says, in words that can be compared; an attribute that is not there is null. */
export interface FrameSaid {
  readonly size: string;
  readonly windows: string;
  readonly channels: string;
  readonly compression: string;
  /** `increasing-y`: from the top down. */
  readonly lineOrder: string;
  readonly colours: string;
  /** The colour that is neutral. */
  readonly neutral: string | null;
  readonly pixelAspect: string;
  readonly rate: string | null;
  /** The label, and behind it in words whatever else the time address says. */
  readonly timecode: string | null;
  readonly reel: string | null;
  readonly owner: string | null;
  readonly comments: string | null;
  readonly captured: string | null;
  readonly iso: string | null;
  readonly exposure: string | null;
  readonly source: string | null;
  /** The clip that it was made from, where it has a field of its own. */
  readonly origin: string | null;
  /** Number of the frame, and where the form has them place and count. */
  readonly counter: string | null;
  readonly development: string | null;
  readonly camera: string | null;
  readonly serial: string | null;
  /** Kelvin. */
  readonly whiteBalance: string | null;
  /** What else the outcome carries from the source, a line each (carried.ts). */
  readonly carried: string;
  /** What is there besides, and every field that has but one value and has another; `nothing` in a good frame. */
  readonly others: string;
}

/** What is kept beside the reports, by path below the folder of the roll; null: no file that can be read. */
export type LookFiles = ReadonlyMap<string, Buffer | null>;

/** Bytes of what lies beside the frames; null: it is not there, or far too large to be it. */
export interface CompanionsMeasured {
  readonly amf: Buffer | null;
  readonly clf: Buffer | null;
  /** What is kept beside the reports of the roll. */
  readonly kept: LookFiles;
}

export interface MasterMeasured {
  /** Of the folder's checksum list (files/digest.ts). */
  readonly digest: FolderDigest;
  /** Names in the folder that are no frame of the outcome, and frames that are not there. */
  readonly strange: readonly string[];
  readonly missing: readonly string[];
  readonly frames: readonly FrameMeasured[];
  readonly companions: CompanionsMeasured;
}
