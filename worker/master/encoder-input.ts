/** A picture for an encoder, made in a frame thread from linear AP0. */
import { PictureKernel } from '../../media/colour/picture.ts';
import type { KernelMemory } from '../../media/kernels/memory.ts';
import { BAND_LINES, type Planes } from '../../media/kernels/planes.ts';
import { areaAverages } from '../../proof/area.ts';
import { COLOUR_HEIGHT, COLOUR_WIDTH, GRID_HEIGHT, GRID_WIDTH } from '../../proof/form.ts';
import { type Point, pointsOf } from '../../proof/pixel-samples.ts';
import type { EncoderInputFrame, FramePoolSetup } from './orders.ts';
import { createHash } from 'node:crypto';
import { spotPixels } from './spot-pixels.ts';
import { compareCodes, exactCodes } from '../../proof/whole-codes.ts';

const BITS = 10;
/** Half of a code, and what arithmetic of 32 bits may move a value across the middle. */
const ALLOWED = 0.52;
const LUMA = { columns: GRID_WIDTH, rows: GRID_HEIGHT };
const COLOUR = { columns: COLOUR_WIDTH, rows: COLOUR_HEIGHT };

export interface Feeder {
  begin(index: number): void;
  /** The next lines, from the top. */
  take(sceneLinear: Planes): void;
  finish(index: number): EncoderInputFrame;
}

export async function feederOf(
  { width, height }: Pick<FramePoolSetup, 'width' | 'height'>,
  spots: readonly number[],
  memory: KernelMemory,
): Promise<Feeder> {
  const kernel = await PictureKernel.load(memory);
  kernel.prepare({ width, height, lines: BAND_LINES, source: null, transform: null });
  const size = { width, height };
  const count = width * height;
  const pixels = spotPixels(width, height);
  let words = new Uint16Array(0);
  let taken = 0;
  /** Of a frame that is compared whole. */
  let wanted: [Float64Array, Float64Array, Float64Array] | null = null;
  let limited = 0;
  return {
    begin(index) {
      wanted = spots.includes(index)
        ? [new Float64Array(count), new Float64Array(count), new Float64Array(count)]
        : null;
      limited = 0;
      words = new Uint16Array(3 * count);
      taken = 0;
      kernel.takeLimited();
    },
    take(sceneLinear) {
      if (wanted !== null) {
        const { r, g, b, count: here } = sceneLinear;
        const to = wanted.map((plane) => plane.subarray(taken, taken + here));
        limited += exactCodes(
          [memory.f32(r, here), memory.f32(g, here), memory.f32(b, here)],
          here,
          to as [Float64Array, Float64Array, Float64Array],
        );
      }
      const codes = kernel.toAcescctYuv(sceneLinear);
      for (const [plane, from] of [codes.y, codes.cb, codes.cr].entries())
        words.set(memory.u16(from, codes.count), plane * count + taken);
      taken += codes.count;
    },
    finish(index) {
      // The fingerprints and the codes are taken of the very bytes that are handed over.
      const planes = [0, 1, 2].map((plane) => words.subarray(plane * count, (plane + 1) * count)) as [
        Uint16Array,
        Uint16Array,
        Uint16Array,
      ];
      const codesAt = (points: readonly Point[]): Uint16Array =>
        Uint16Array.from(
          points.flatMap((point) => planes.map((plane) => plane[point.y * width + point.x] as number)),
        );
      const bytes = new Uint8Array(words.buffer);
      return {
        bytes,
        sha256: createHash('sha256').update(bytes).digest('hex'),
        whole: wanted === null ? null : compareCodes(words, wanted, { width, allowed: ALLOWED, limited }),
        luma: areaAverages(planes[0], size, BITS, LUMA),
        colour: Uint16Array.of(
          ...areaAverages(planes[1], size, BITS, COLOUR),
          ...areaAverages(planes[2], size, BITS, COLOUR),
        ),
        points: codesAt(pointsOf(index, width, height)),
        spots: spots.includes(index) ? codesAt(pixels) : null,
        limited: kernel.takeLimited(),
      };
    },
  };
}
