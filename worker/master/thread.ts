/**
 * The body of a frame thread: one frame at a time, from its code values to its files, wholly in the thread's own memory.
 * What not every clip needs is loaded where it is needed: each thread loads its modules anew.
 */
import { writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { KernelMemory } from '../../media/kernels/memory.ts';
import type { Planes } from '../../media/kernels/planes.ts';
import { hashBytes } from '../../media/manifest/digest.ts';
import { serve } from '../../media/threads.ts';
import { POINTS, pointsOf } from '../../media/trail/points.ts';
import { frameFileName } from '../../profiles/master/outcome.ts';
import { attributesOf, dpxOf } from './attributes.ts';
import type { FrameAnswer, FrameOrder, MillSetup, WrittenFrame } from './orders.ts';
import { sourcePicture } from './source-picture.ts';

/** Planes of code or camera values of a frame, and how they become linear AP0 in place. */
interface Way {
  values(order: FrameOrder): Promise<Planes>;
  toAp0(planes: Planes): Planes;
}

async function codedWay(setup: MillSetup, memory: KernelMemory): Promise<Way> {
  const { way, width, height, transform } = setup;
  if (way.kind !== 'coded') throw new RangeError('frames of an order for raw frames');
  const { PictureKernel } = await import('../../media/colour/picture.ts');
  const kernel = await PictureKernel.load(memory);
  kernel.prepare({ width, height, source: sourcePicture(way, width, height), transform });
  return {
    values: async ({ bytes }) => {
      if (bytes === null) throw new RangeError('a frame without bytes');
      return kernel.codeRgb(new Uint8Array(bytes));
    },
    toAp0: (planes) => kernel.toAp0(planes),
  };
}

async function rawWay(setup: MillSetup, memory: KernelMemory): Promise<Way> {
  const { raw, way } = setup;
  if (way.kind !== 'raw' || raw === null) throw new RangeError('raw frames of an order for others');
  const [{ DevelopKernel }, { rawReader }] = await Promise.all([import('../../media/raw/develop/kernel.ts'), import('./raw.ts')]);
  const kernel = await DevelopKernel.load(memory);
  kernel.prepare({ picture: raw.picture, ...way });
  const read = await rawReader(raw, memory, () => kernel.codes());
  return {
    values: async ({ index }) => {
      await read(index);
      return kernel.camera();
    },
    toAp0: (planes) => kernel.toAp0(planes),
  };
}

type Write = (planes: Planes, index: number) => { readonly bytes: Uint8Array; readonly invalid: number };

/** Writers in the order of the outputs; each has its own room in the memory. */
async function writersOf(setup: MillSetup, memory: KernelMemory): Promise<Write[]> {
  const writers: Write[] = [];
  for (const { outcome } of setup.outputs) {
    const { form, width, height, compression } = outcome;
    if (form === 'dpx') {
      const [{ DpxEncoder }, { PictureKernel }] = await Promise.all([import('../../media/dpx/write.ts'), import('../../media/colour/picture.ts')]);
      const encoder = await DpxEncoder.create(memory);
      encoder.prepare({ width, height });
      const kernel = await PictureKernel.load(memory);
      kernel.prepare({ width, height, source: null, transform: null });
      writers.push((planes, index) => ({ bytes: encoder.encode(kernel.toAcescctCodes10(planes), dpxOf(outcome, index, setup.source)), invalid: 0 }));
    } else {
      const { ExrEncoder } = await import('../../media/exr/write.ts');
      const encoder = await ExrEncoder.create(memory);
      encoder.prepare({ width, height, compression, container: form === 'aces' ? 'aces' : 'exr' });
      writers.push((planes, index) => ({ bytes: encoder.encode(planes, attributesOf(outcome, index, setup.source)), invalid: encoder.notNumbers }));
    }
  }
  return writers;
}

/** R, G, B of the points, from the planes as they stand in the memory. */
function tap(memory: KernelMemory, { r, g, b, count }: Planes, index: number, width: number, height: number): Float32Array {
  const planes = [memory.f32(r, count), memory.f32(g, count), memory.f32(b, count)];
  const out = new Float32Array(3 * POINTS);
  for (const [point, { x, y }] of pointsOf(index, width, height).entries()) for (const [channel, plane] of planes.entries()) out[3 * point + channel] = plane[y * width + x] as number;
  return out;
}

serve<MillSetup, FrameOrder, FrameAnswer>(async (setup) => {
  const memory = new KernelMemory();
  const { width, height } = setup;
  const way = setup.raw === null ? await codedWay(setup, memory) : await rawWay(setup, memory);
  const writers = await writersOf(setup, memory);
  const feeder = setup.feed === null ? null : await (await import('./fed.ts')).feederOf(setup, setup.feed.spots, memory);
  return async (order) => {
    const planes = await way.values(order);
    const points = tap(memory, planes, order.index, width, height);
    const light = way.toAp0(planes);
    const written: WrittenFrame[] = [];
    let invalid = 0;
    for (const [at, { outcome, folder }] of setup.outputs.entries()) {
      const made = (writers[at] as Write)(light, order.index);
      invalid += made.invalid;
      const name = frameFileName(outcome, order.index);
      await writeFile(join(folder, name), made.bytes, { flag: 'wx' });
      written.push({ name, bytes: made.bytes.length, xxh128: hashBytes(made.bytes, ['xxh128']).xxh128 as string });
    }
    const fed = feeder === null ? null : feeder(light, order.index);
    return { result: { index: order.index, points, written, fed, invalid }, transfer: [points.buffer as ArrayBuffer, ...(fed === null ? [] : [fed.bytes.buffer as ArrayBuffer])] };
  };
});
