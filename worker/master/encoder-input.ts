/** A picture for an encoder, made in a frame thread from linear AP0. */
import { SHOWN_BITS } from '../../media/colour/acescct.ts';
import { PictureKernel } from '../../media/colour/picture.ts';
import type { KernelMemory } from '../../media/kernels/memory.ts';
import { BAND_LINES, type Planes } from '../../media/kernels/planes.ts';
import { areaAverages } from '../../proof/area.ts';
import { COLOUR_HEIGHT, COLOUR_WIDTH, GRID_HEIGHT, GRID_WIDTH } from '../../proof/form.ts';
import { type Point, pointsOf } from '../../proof/pixel-samples.ts';
import type { EncoderInputFrame, FeedKind, FramePoolSetup } from './orders.ts';
import { createHash } from 'node:crypto';
import { spotPixels } from './spot-pixels.ts';
import { compareCodes, exactCodes, exactRgb14 } from '../../proof/whole-codes.ts';

/** Half of a code, and what arithmetic of 32 bits may move a value across the middle. Codes of 14 bits are steep in black. */
const ALLOWED: Readonly<Record<FeedKind, number>> = { yuv10: 0.52, rgb14: 0.6 };
const LUMA = { columns: GRID_WIDTH, rows: GRID_HEIGHT };
const COLOUR = { columns: COLOUR_WIDTH, rows: COLOUR_HEIGHT };

export interface Feeder {
  begin(index: number): void;
  /** The next lines, from the top. */
  take(sceneLinear: Planes): void;
  finish(index: number): EncoderInputFrame;
}

/** Where in the picture each component lies: Y', Cb, Cr as they come; R', G', B' as ffmpeg's planes of R'G'B' do. */
const PLACES: Readonly<Record<FeedKind, readonly [number, number, number]>> = {
  yuv10: [0, 1, 2],
  rgb14: [2, 0, 1],
};

export async function feederOf(
  { width, height }: Pick<FramePoolSetup, 'width' | 'height'>,
  { kind, spots }: FramePoolSetup['feeds'][number],
  memory: KernelMemory,
): Promise<Feeder> {
  const kernel = await PictureKernel.load(memory);
  kernel.prepare({
    width,
    height,
    lines: BAND_LINES,
    source: null,
    transform: null,
    ...(kind === 'rgb14' ? { bits: SHOWN_BITS } : {}),
  });
  const size = { width, height };
  const count = width * height;
  const pixels = spotPixels(width, height);
  const places = PLACES[kind];
  const exact = kind === 'yuv10' ? exactCodes : exactRgb14;
  const componentsOf = (sceneLinear: Planes): readonly [number, number, number] => {
    if (kind === 'rgb14') {
      const { r, g, b } = kernel.toAcescctCodes(sceneLinear);
      return [r, g, b];
    }
    const { y, cb, cr } = kernel.toAcescctYuv(sceneLinear);
    return [y, cb, cr];
  };
  let words = new Uint16Array(0);
  let taken = 0;
  /** Of a frame that is compared whole, by component. */
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
      const { count: here } = sceneLinear;
      if (wanted !== null) {
        const { r, g, b } = sceneLinear;
        const to = wanted.map((plane) => plane.subarray(taken, taken + here));
        limited += exact(
          [memory.f32(r, here), memory.f32(g, here), memory.f32(b, here)],
          here,
          to as [Float64Array, Float64Array, Float64Array],
        );
      }
      for (const [component, from] of componentsOf(sceneLinear).entries())
        words.set(memory.u16(from, here), (places[component] as number) * count + taken);
      taken += here;
    },
    finish(index) {
      // Everything is taken of the very bytes that are handed over.
      const components = places.map((place) => words.subarray(place * count, (place + 1) * count)) as [
        Uint16Array,
        Uint16Array,
        Uint16Array,
      ];
      const codesAt = (points: readonly Point[]): Uint16Array =>
        Uint16Array.from(
          points.flatMap((point) => components.map((plane) => plane[point.y * width + point.x] as number)),
        );
      const bytes = new Uint8Array(words.buffer);
      return {
        bytes,
        sha256: createHash('sha256').update(bytes).digest('hex'),
        whole:
          wanted === null
            ? null
            : compareCodes(components, wanted, { width, allowed: ALLOWED[kind], limited }),
        averages: kind === 'yuv10' ? averagesOf(components, size) : null,
        points: codesAt(pointsOf(index, width, height)),
        spots: spots.includes(index) ? codesAt(pixels) : null,
        limited: kernel.takeLimited(),
      };
    },
  };
}

function averagesOf(
  [y, cb, cr]: readonly [Uint16Array, Uint16Array, Uint16Array],
  size: { readonly width: number; readonly height: number },
): NonNullable<EncoderInputFrame['averages']> {
  return {
    luma: areaAverages(y, size, 10, LUMA),
    colour: Uint16Array.of(...areaAverages(cb, size, 10, COLOUR), ...areaAverages(cr, size, 10, COLOUR)),
  };
}
