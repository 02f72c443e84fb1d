/** The filters that take an error sketch inside an ffmpeg graph, and the input that the mask comes in by. */
import type { ValueCollector } from '../collect.ts';
import { plainGrid, plainPlanes, sampleBits, type SketchForm, sketchNumbers, sketchPlanes } from './form.ts';

/** Planes keep their subsampling; 16 bits in one step, since a region's average moves by hundredths of a code value. Values stay as they are coded. */
const AVERAGE = 'flags=area+bitexact:in_range=full:out_range=full';

const deep = (pixelFormat: string): string =>
  `${pixelFormat.replace(/^yuvj/, 'yuv').replace(/\d+(?:le|be)$/, '')}16le`;

/** One frame of raw samples, which the graph repeats (`sketchChains`). */
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

/**
 * Exclusive or with the mask puts signs to the samples of all planes at once (mask.ts). The mask is repeated here: ffmpeg, which asks for what
 * is behind most, may come to hear that its input has ended when the clip ends, and every picture would wait for that in memory.
 * One small picture comes out: the plain averages, and below them the signed ones, at the left.
 */
export function sketchChains({ from, to, maskInput: input, form }: SketchTapRequest): string[] {
  const { width, height, pixelFormat, grid } = form;
  const plain = plainGrid(form);
  // For pictures that are as they should be the first two do nothing; others are compared all the same, and not refused by the graph.
  const shaped = `scale=w=${width}:h=${height}:flags=neighbor,format=${pixelFormat}`;
  const averages = ({ columns, rows }: SketchForm['grid']): string =>
    `scale=w=${columns}:h=${rows}:${AVERAGE},format=${deep(pixelFormat)}`;
  return [
    `[${from}]settb=1,setpts=N,${shaped},split=2[${to}-picture][${to}-whole]`,
    `[${input}:0]loop=loop=-1:size=1,settb=1,setpts=N[${to}-mask]`,
    `[${to}-picture][${to}-mask]blend=all_mode=xor:shortest=1,${averages(grid)}${plain.columns === grid.columns ? '' : `,pad=w=${plain.columns}:h=${grid.rows}`}[${to}-signed]`,
    `[${to}-whole]${averages(plain)}[${to}-plain]`,
    `[${to}-plain][${to}-signed]vstack=inputs=2[${to}]`,
  ];
}

/** The numbers of a sketch, out of the pictures that the chains make of it; a torn last one is left out. */
export function sketchValues(collector: ValueCollector, form: SketchForm): Uint16Array {
  const signed = sketchPlanes(form);
  const plain = plainPlanes(form);
  const pictureSize = plain.reduce(
    (sum, { columns, rows }, plane) => sum + columns * (rows + (signed[plane]?.rows ?? 0)),
    0,
  );
  const taken = collector.values(pictureSize);
  const numbers = sketchNumbers(form);
  const frames = taken.length / pictureSize;
  const values = new Uint16Array(frames * numbers);
  for (let frame = 0; frame < frames; frame += 1) {
    let at = frame * pictureSize;
    for (const [plane, of] of plain.entries()) {
      const signs = signed[plane];
      if (signs === undefined) throw new RangeError('a plane without signed averages');
      values.set(taken.subarray(at, at + of.columns * of.rows), frame * numbers + of.from);
      at += of.columns * of.rows;
      for (let row = 0; row < signs.rows; row += 1, at += of.columns)
        values.set(
          taken.subarray(at, at + signs.columns),
          frame * numbers + signs.from + row * signs.columns,
        );
    }
  }
  return values;
}

/** What an exclusive or with the highest value leaves to be added, in the values of a sketch. */
export function maskedOffset(pixelFormat: string): number {
  return 2 ** (16 - sampleBits(pixelFormat));
}
