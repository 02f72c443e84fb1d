/** Two sketches of one clip, by one mask: the mean squared error of every frame, plane and region. */
import {
  type ErrorSketch,
  sampleBits,
  type SketchForm,
  type SketchPlane,
  sketchNumbers,
  sketchPlanes,
} from './form.ts';
import { maskedShares } from './mask.ts';
import { maskedOffset } from './tap.ts';

/** What a second decode gave under the same mask. */
export interface SketchOfOutput {
  /** As the decoder gives it: its depth may be another than the encoder's. */
  readonly pixelFormat: string;
  readonly values: Uint16Array;
}

/** Signed differences, in code values of 8 bits (a step of 10 bits is 0.25). */
export interface SketchDifferences {
  readonly frames: number;
  readonly planes: readonly SketchPlane[];
  /** Numbers a frame. */
  readonly numbers: number;
  readonly peak: number;
  /** Root of a region's estimated energy: difference of the averages times the root of its samples. */
  at(frame: number, number: number): number;
  /** The same of the encoder's pictures: of a frame less the one before it. */
  stepAt(frame: number, number: number): number;
  /** Plain average of a region of the encoder's picture, code values of 8 bits. */
  plainAt(frame: number, number: number): number;
}

/** Highest code value, in those of 8 bits. */
function peakOf(pixelFormat: string): number {
  const bits = sampleBits(pixelFormat);
  return (2 ** bits - 1) * 2 ** (8 - bits);
}

/** null: the two have not as many frames. Throws RangeError on values that are no whole frames. */
export function sketchDifferences(input: ErrorSketch, output: SketchOfOutput): SketchDifferences | null {
  const planes = sketchPlanes(input);
  const numbers = sketchNumbers(input);
  if (input.values.length !== input.frames * numbers)
    throw new RangeError(`${input.values.length} numbers for ${input.frames} frames of ${numbers}`);
  if (output.values.length !== input.values.length) return null;
  const shift = offsets(input, output.pixelFormat, numbers);
  const roots = new Float64Array(numbers);
  for (const { from, columns, rows, samples } of planes)
    roots.fill(Math.sqrt(samples) / 256, from, from + columns * rows);
  return {
    frames: input.frames,
    planes,
    numbers,
    peak: peakOf(input.pixelFormat),
    at: (frame, number) => {
      const place = frame * numbers + number;
      const step = (output.values[place] as number) - (input.values[place] as number);
      return (step - (shift[number] as number)) * (roots[number] as number);
    },
    stepAt: (frame, number) => {
      const place = frame * numbers + number;
      const step = (input.values[place] as number) - (input.values[place - numbers] as number);
      return step * (roots[number] as number);
    },
    plainAt: (frame, number) => (input.values[frame * numbers + number] as number) / 256,
  };
}

/** A masked sample v of b bits counts 2^16 - 2^(16 - b) less its value: of two depths the constant differs. */
function offsets(input: ErrorSketch, pixelFormat: string, numbers: number): Float64Array {
  const step = maskedOffset(input.pixelFormat) - maskedOffset(pixelFormat);
  if (step === 0) return new Float64Array(numbers);
  return maskedShares(input.seed, input satisfies SketchForm).map((share) => share * step);
}

/** Decibels; a picture without any error has as many as the last bit of its 16 would give. */
export function psnrOf(meanSquare: number, peak: number): number {
  return 10 * Math.log10((peak * peak) / Math.max(meanSquare, LEAST));
}
const LEAST = 1e-5;
