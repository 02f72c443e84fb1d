/** The filters that take an error sketch inside an ffmpeg graph, and the input that the mask comes in by. */
import { sampleBits, type SketchForm } from './form.ts';

/** Planes keep their subsampling; 16 bits in one step, since a region's average moves by hundredths of a code value. Values stay as they are coded. */
const AVERAGE = 'flags=area+bitexact:in_range=full:out_range=full';

const deep = (pixelFormat: string): string =>
  `${pixelFormat.replace(/^yuvj/, 'yuv').replace(/\d+(?:le|be)$/, '')}16le`;

/** One frame of raw samples, which the graph repeats. */
export function maskInput(path: string, { width, height, pixelFormat }: SketchForm): string[] {
  return [
    '-protocol_whitelist',
    'file',
    '-f',
    'rawvideo',
    '-pixel_format',
    pixelFormat,
    '-video_size',
    `${width}x${height}`,
    '-framerate',
    '1',
    '-i',
    `file:${path}`,
  ];
}

export interface SketchTapRequest {
  /** Pad of the pictures, and of what comes out, without brackets. */
  readonly from: string;
  readonly to: string;
  /** Number of the mask among the inputs. */
  readonly maskInput: number;
  readonly form: SketchForm;
}

/** Exclusive or with the mask puts signs to the samples of all planes at once (mask.ts). The mask is the last picture of an input that ended, which ffmpeg repeats. */
export function sketchChains({ from, to, maskInput: input, form }: SketchTapRequest): string[] {
  const { width, height, pixelFormat, grid } = form;
  // For pictures that are as they should be the first two do nothing; others are compared all the same, and not refused by the graph.
  const shaped = `scale=w=${width}:h=${height}:flags=neighbor,format=${pixelFormat}`;
  return [
    `[${from}]settb=1,setpts=N,${shaped}[${to}-picture]`,
    `[${input}:0]settb=1,setpts=N[${to}-mask]`,
    `[${to}-picture][${to}-mask]blend=all_mode=xor,scale=w=${grid.columns}:h=${grid.rows}:${AVERAGE},format=${deep(pixelFormat)}[${to}]`,
  ];
}

/** What an exclusive or with the highest value leaves to be added, in the values of a sketch. */
export function maskedOffset(pixelFormat: string): number {
  return 2 ** (16 - sampleBits(pixelFormat));
}
