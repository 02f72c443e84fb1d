/** How large a master becomes: exact without compression, with it a range and an estimate, better once something was made. */
import type { CodeBits } from '../../media/colour/acescct.ts';
import { bitsOf, isLossy } from './form.ts';
import type { FrameCompression, FrameFormat } from './schema.ts';

export interface MasterSize {
  readonly format: FrameFormat;
  readonly compression: FrameCompression;
  /** Of a code of DPX. */
  readonly bits?: CodeBits | undefined;
  readonly width: number;
  readonly height: number;
  readonly frames: number;
  /** Bytes a pixel that such frames took before; null: nothing was made yet. */
  readonly learned: number | null;
}

/** Headers as they are written here lie between these (measured); a frame is megabytes. */
const HEADER_BYTES = 1536;
/** SMPTE ST 268-1: generic, film, television and user headers. */
const DPX_HEADER_BYTES = 2048;
/** Lines of a block, OpenEXR file layout. */
const linesOf: Readonly<Record<FrameCompression, number>> = {
  none: 1,
  zips: 1,
  zip: 16,
  piz: 32,
  dwaa: 32,
  dwab: 256,
};

/** Of the whole without compression: a grey card and a noisy picture at ISO 2000 lie between (measured on synthetic grain; common practice says half to two thirds). */
const LEAST = 0.02;
const USUAL = 0.8;
/** With loss: of grain, a chart and a fractal a third to a half (measured at level 45, frames of 0.02 megapixels); nothing but black takes next to nothing. */
const LEAST_LOSSY = 0.0002;
const USUAL_LOSSY = 0.5;

function plainBytes({ format, bits, width, height }: MasterSize): number {
  // Three codes of 10 bits to a 32-bit word; longer ones have 16 bits each.
  if (format === 'dpx') return DPX_HEADER_BYTES + (bitsOf({ bits }) === 10 ? 4 : 6) * width * height;
  // Half, three channels; an offset and a head of 8 bytes for each line.
  return HEADER_BYTES + 6 * width * height + 16 * height;
}

export function masterBytes(size: MasterSize): {
  frameBytes: number | null;
  estimatedBytes: number;
  bytesRange: { least: number; most: number };
} {
  const plain = plainBytes(size);
  const whole = plain * size.frames;
  if (size.compression === 'none')
    return { frameBytes: plain, estimatedBytes: whole, bytesRange: { least: whole, most: whole } };
  const { width, height, frames, learned } = size;
  const [least, share] = isLossy(size) ? [LEAST_LOSSY, USUAL_LOSSY] : [LEAST, USUAL];
  // A block that does not shrink is stored as it is: compression never adds more than its tables.
  const most =
    (HEADER_BYTES + 6 * width * height + 16 * Math.ceil(height / linesOf[size.compression])) * frames;
  const usual =
    learned === null ? Math.ceil(most * share) : Math.min(most, Math.ceil(learned * width * height) * frames);
  return {
    frameBytes: null,
    estimatedBytes: usual,
    bytesRange: { least: Math.ceil(most * least), most },
  };
}
