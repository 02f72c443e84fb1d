/**
 * Into how many slices FFV1 cuts a picture: as many as asked, or the nearest fewer (else more) that a picture of this size can be cut into.
 * Version 3 of the form says where a slice of luma begins and rounds for chroma; where that would give chroma of the last slice a line or
 * column too few, the encoder refuses. Source: FFmpeg, libavcodec/ffv1enc.c (number of slices) and ffv1.c (need of new slices).
 */
import type { VideoFacts } from '../../media/facts.ts';
import { planesOf } from '../../media/pixel-format.ts';
import { ffv1Slices } from '../schema.ts';

type Count = (typeof ffv1Slices)[number];

/** How the encoder lays them out: across, down. */
const grids = {
  4: [2, 2],
  6: [3, 2],
  9: [3, 3],
  12: [4, 3],
  16: [4, 4],
  24: [6, 4],
  30: [6, 5],
} as const satisfies Record<Count, readonly [number, number]>;
/** Of the samples of one slice, times bits and planes. */
const LARGEST_SLICE_BITS = 8 << 24;

/** Whether a side that chroma does not divide would leave chroma of its last slice too short. */
function tooShort(side: number, slices: number, step: number): boolean {
  return side % step !== 0 && (side - Math.floor((side * (slices - 1)) / slices)) % step === 0;
}

function fits({ width, height, pixelFormat, bitDepth }: VideoFacts, count: Count): boolean {
  const [across, down] = grids[count];
  const planes = planesOf(pixelFormat);
  const step = {
    across: Math.max(...planes.map((plane) => plane.across)),
    down: Math.max(...planes.map((plane) => plane.down)),
  };
  if (across > Math.ceil(width / step.across) || down > Math.ceil(height / step.down)) return false;
  // Luma and chroma count as two planes, whatever they hold, alpha as a third.
  const kinds = planes.length === 2 || planes.length === 4 ? 3 : 2;
  if (Math.ceil(width / across) * Math.ceil(height / down) * (bitDepth + 1) * kinds > LARGEST_SLICE_BITS)
    return false;
  return !tooShort(width, across, step.across) && !tooShort(height, down, step.down);
}

/** null: no number does. */
export function slicesOf(video: VideoFacts, asked: Count): Count | null {
  const fewer = ffv1Slices.filter((count) => count <= asked).reverse();
  const more = ffv1Slices.filter((count) => count > asked);
  return [...fewer, ...more].find((count) => fits(video, count)) ?? null;
}
