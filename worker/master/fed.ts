/** A picture for an encoder, made in a frame thread from linear AP0. */
import { PictureKernel } from '../../media/colour/picture.ts';
import type { KernelMemory } from '../../media/kernels/memory.ts';
import type { Planes } from '../../media/kernels/planes.ts';
import { areaAverages } from '../../media/trail/area.ts';
import { COLOUR_HEIGHT, COLOUR_STEP, COLOUR_WIDTH, GRID_HEIGHT, GRID_WIDTH } from '../../media/trail/form.ts';
import { type Point, pointsOf } from '../../media/trail/points.ts';
import type { FedFrame, MillSetup } from './orders.ts';
import { spotPixels } from './spot-pixels.ts';

const BITS = 10;
const LUMA = { columns: GRID_WIDTH, rows: GRID_HEIGHT };
const COLOUR = { columns: COLOUR_WIDTH, rows: COLOUR_HEIGHT };

export async function feederOf({ width, height }: MillSetup, spots: readonly number[], memory: KernelMemory): Promise<(light: Planes, index: number) => FedFrame> {
  const kernel = await PictureKernel.load(memory);
  kernel.prepare({ width, height, source: null, transform: null });
  const size = { width, height };
  const pixels = spotPixels(width, height);
  return (light, index) => {
    const { y, cb, cr, count } = kernel.toAcescctYuv(light);
    // The trail and the codes are taken of the very bytes that are handed over.
    const words = new Uint16Array(3 * count);
    for (const [plane, at] of [y, cb, cr].entries()) words.set(memory.u16(at, count), plane * count);
    const planes = [0, 1, 2].map((plane) => words.subarray(plane * count, (plane + 1) * count)) as [Uint16Array, Uint16Array, Uint16Array];
    const at = (points: readonly Point[]): Uint16Array => Uint16Array.from(points.flatMap((point) => planes.map((plane) => plane[point.y * width + point.x] as number)));
    return {
      bytes: new Uint8Array(words.buffer),
      luma: areaAverages(planes[0], size, BITS, LUMA),
      colour: index % COLOUR_STEP === 0 ? Uint16Array.of(...areaAverages(planes[1], size, BITS, COLOUR), ...areaAverages(planes[2], size, BITS, COLOUR)) : null,
      points: at(pointsOf(index, width, height)),
      spots: spots.includes(index) ? at(pixels) : null,
    };
  };
}
