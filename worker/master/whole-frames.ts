/** Sketches of what a thread hands to its encoders, and how many values it had to limit: rounded here once more, by other code than the encoders'. */
import type { KernelMemory } from '../../media/kernels/memory.ts';
import type { Planes } from '../../media/kernels/planes.ts';
import { WholeFrameSketch } from '../../proof/whole-frame-sketch.ts';
import type { CodePlanes } from '../../media/colour/picture.ts';

const SMALLEST_NORMAL = 0x38800000;
/** 65520, from which on the nearest half would be infinite. */
const BEYOND_HALF = 0x477ff000;
const INFINITY = 0x7f800000;
const MOST = 0x7bff;

export interface Sketching<Taken> {
  begin(): void;
  /** The next lines, from the top. */
  take(taken: Taken): void;
  sums(): Int32Array;
}

const half = new Float32Array(1);
const halfBits = new Int32Array(half.buffer);

/** Steps from zero, with the sign, of the half nearest to a float of these bits (IEEE 754, ties to even); beyond the largest that one, no number 0. */
export function halfSteps(bits: number): number {
  const size = bits & 0x7fffffff;
  let steps: number;
  if (size > INFINITY) return 0;
  if (size >= BEYOND_HALF) steps = MOST;
  else if (size >= SMALLEST_NORMAL) steps = (size - 0x38000000 + 0x0fff + ((size >> 13) & 1)) >> 13;
  else {
    // Below 2^-14 halves are 2^-24 apart, as floats from 0.5 to 1 are: the sum is rounded as they are.
    halfBits[0] = size;
    half[0] = (half[0] as number) + 0.5;
    steps = (halfBits[0] as number) - 0x3f000000;
  }
  return bits < 0 ? -steps : steps;
}

/** Of OpenEXR: linear AP0 as half floats. */
export function sketchHalves(memory: KernelMemory, width: number, height: number): Sketching<Planes> {
  const sketch = new WholeFrameSketch(width, height);
  const line = new Int32Array(width);
  let next = 0;
  return {
    begin() {
      sketch.begin();
      next = 0;
    },
    take({ r, g, b, count }) {
      for (const [channel, at] of [r, g, b].entries()) {
        const floats = memory.f32(at, count);
        const bits = new Int32Array(floats.buffer, floats.byteOffset, count);
        for (let from = 0, y = next; from < count; from += width, y += 1) {
          for (let x = 0; x < width; x += 1) line[x] = halfSteps(bits[from + x] as number);
          sketch.take(channel, y, line);
        }
      }
      next += count / width;
    },
    sums: () => sketch.sums(),
  };
}

/** Of DPX: codes of 10 bits. */
export function sketchCodes(memory: KernelMemory, width: number, height: number): Sketching<CodePlanes> {
  const sketch = new WholeFrameSketch(width, height);
  let next = 0;
  return {
    begin() {
      sketch.begin();
      next = 0;
    },
    take({ r, g, b, count }) {
      for (const [channel, at] of [r, g, b].entries()) {
        const codes = memory.u16(at, count);
        for (let from = 0, y = next; from < count; from += width, y += 1)
          sketch.take(channel, y, codes.subarray(from, from + width));
      }
      next += count / width;
    },
    sums: () => sketch.sums(),
  };
}
