/** What is compared, tile by tile and whole frame by whole frame, and what is said of a sample that is off. */
import type { Model } from './model.ts';
import type { PixelLayout } from './samples.ts';
import type { TilePlan } from './tiles.ts';

export interface CompareRequest {
  readonly plan: TilePlan;
  readonly from: PixelLayout;
  readonly to: PixelLayout;
  readonly model: Model;
  /** Of a source whose fields are made into frames. */
  readonly earlier: 'top' | 'bottom' | null;
  /** That are made. */
  readonly frames: number;
  /** By frame, another share of samples that had to be limited, where more is looked at than the tiles; null: not known yet. Absent: none. */
  readonly limitedToo?: (frame: number) => number | null;
}

/** A sample that is farther off than rounding explains, the farthest of its frame. */
export interface OffSample {
  readonly frame: number;
  readonly plane: 0 | 1 | 2;
  /** In the plane of the delivered picture. */
  readonly x: number;
  readonly y: number;
  readonly found: number;
  readonly expected: number;
  /** Samples of this frame that are off. */
  readonly count: number;
}
