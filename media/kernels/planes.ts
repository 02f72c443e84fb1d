/** Three pictures of one size in a thread's memory (media/kernels/memory.ts), as kernels hand them to one another. */

/**
 * float32 planes R, G, B: `count` values each, line by line from the top, without padding.
 * `r`, `g`, `b` are addresses in the thread's KernelMemory, multiples of 64; what the values mean, whoever hands them on says.
 * Kernels may read and write up to `ROOM_BEHIND` values behind `count`, and for that much each plane has room: lines, and whole planes, are
 * taken four values at a time.
 */
export interface Planes {
  readonly r: number;
  readonly g: number;
  readonly b: number;
  readonly count: number;
}

/**
 * Lines of a picture that a thread takes through all its steps before the next ones: three planes of them stay in a core's second cache, and a
 * thread's memory holds no planes of whole pictures. Whole chunks of compressed OpenEXR.
 */
export const BAND_LINES = 16;

/** Values. Seven would do. */
const ROOM_BEHIND = 8;

/** Bytes of one float32 plane of `count` values, with the room behind it. */
export const planeBytes = (count: number): number => Math.ceil((count + ROOM_BEHIND) / 16) * 64;
