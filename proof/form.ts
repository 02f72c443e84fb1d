/**
 * The half of the fingerprints that is of the picture: of every frame that leaves a decoder a tiny picture, by which two streams are compared
 * frame by frame. Its values are area averages of luma over a fixed grid, so that no look, codec or raster matters much,
 * and the noise of a locked-off shot still tells one frame from the next.
 */

/** Cells across and down, over the whole upright picture of the source, whatever its shape. */
export const GRID_WIDTH = 28;
export const GRID_HEIGHT = 16;
/** 448 values of 16 bits: 896 bytes a frame; with colour 1344, which is 29.0 MB for 15 minutes at 24000/1001 (21 578 frames) before compression. */
export const CELLS = GRID_WIDTH * GRID_HEIGHT;

/** Both chroma planes on half the grid: order is proved by luma, and colour may be wrong in a single frame. 448 bytes a frame. */
export const COLOUR_WIDTH = GRID_WIDTH / 2;
export const COLOUR_HEIGHT = GRID_HEIGHT / 2;
export const COLOUR_CELLS = COLOUR_WIDTH * COLOUR_HEIGHT;

export interface FrameFingerprints {
  readonly frames: number;
  /** 2: an interlaced source, each frame seen twice, first its earlier field, then its later one. */
  readonly views: 1 | 2;
  /** frames x views x CELLS, row by row; a code value v of b bits stands as v * 2^(16-b). */
  readonly luma: Uint16Array;
  /** Of every frame COLOUR_CELLS of Cb, then of Cr; null where the picture has no chroma. */
  readonly colour: Uint16Array | null;
}

/** What the threads of a master read, and what the decoder gave: of the same frames, each seen once (reading.ts). */
export interface Reading {
  /** Straight behind the decoder, taken inside ffmpeg (tap.ts). */
  readonly decoded: FrameFingerprints;
  /** Of the buffers that the arithmetic of the master reads (read-averages.ts). */
  readonly read: FrameFingerprints;
}
