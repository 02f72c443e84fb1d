/**
 * The body of a frame thread: one frame at a time, from its code values to its files, wholly in the thread's own memory, a band of lines
 * after the other. What not every clip needs is loaded where it is needed: each thread loads its modules again.
 */
import type { SourcePicture } from '../../media/colour/pixel.ts';
import type { ReadAverages } from '../../proof/read-averages.ts';
import type { SpecialValues } from '../../media/colour/picture.ts';
import type { DpxFrame } from '../../media/formats/dpx/header.ts';
import { KernelMemory } from '../../media/kernels/memory.ts';
import { BAND_LINES, type Planes } from '../../media/kernels/planes.ts';
import { serve } from '../../process/threads.ts';
import { POINTS, type Point, pointsOf } from '../../proof/pixel-samples.ts';
import type { Feeder } from './encoder-input.ts';
import { readTurn } from '../../process/pipe-lock.ts';
import type { Limited, SceneLinearRange } from '../../proof/value-range.ts';
import { bitsOf, isLossy } from '../../profiles/master/form.ts';
import { createFrameFile, type FrameFile } from './frame-file.ts';
import type { FrameAnswer, FrameHead, FrameOrder, FramePoolSetup, WrittenFrame } from './orders.ts';
import { sourcePicture } from './source-picture.ts';
import { type Ranging, rangeOf, wholeFrames } from './whole-frames.ts';

/** Planes of code or camera values, band by band in their order, and how they become linear AP0 in place. */
interface Way {
  /** False: there is no such frame, the source has ended. */
  read(order: FrameOrder): Promise<boolean>;
  values(first: number): Planes;
  toAp0(planes: Planes): Planes;
  /** Of the very bytes that `values` is made from. */
  averages(): ReadAverages | null;
  /** Of the frame: NaN and infinities of its source; null: it can have none. */
  special(): SpecialValues | null;
}

async function codedLinearisation(setup: FramePoolSetup, memory: KernelMemory): Promise<Way> {
  const { linearisation, width, height, transform } = setup;
  if (linearisation.kind !== 'coded') throw new RangeError('frames of an order for raw frames');
  const { PictureKernel } = await import('../../media/colour/picture.ts');
  const kernel = await PictureKernel.load(memory);
  const source = sourcePicture(linearisation, width, height);
  kernel.prepare({ width, height, lines: BAND_LINES, source, transform });
  const averages = setup.compareReading ? await averagesOf(source, memory) : () => null;
  const file =
    setup.files === null
      ? null
      : (await import('./exr-files.ts')).exrReader(setup.files, { width, height, ...linearisation });
  return {
    read: async ({ index, from }) => {
      if (file !== null) {
        file(index, kernel.frame());
        return true;
      }
      if (from === null) throw new RangeError('a frame without bytes');
      if ('fd' in from) return readTurn(from, index, kernel.frame());
      kernel.put(new Uint8Array(from));
      return true;
    },
    values: (first) => kernel.codeRgb(undefined, first),
    averages: () => averages(kernel.frame()),
    toAp0: (planes) => kernel.toAp0(planes),
    special: () => kernel.takeSpecial(),
  };
}

async function averagesOf(
  source: SourcePicture,
  memory: KernelMemory,
): Promise<(frame: Uint8Array) => ReadAverages> {
  const [{ averagesInMemory }, { sourceLayout }] = await Promise.all([
    import('./averages.ts'),
    import('../../media/colour/pixel.ts'),
  ]);
  return await averagesInMemory(memory, sourceLayout(source));
}

async function rawLinearisation(setup: FramePoolSetup, memory: KernelMemory): Promise<Way> {
  const { raw, linearisation } = setup;
  if (linearisation.kind !== 'raw' || raw === null) throw new RangeError('raw frames of an order for others');
  const [{ DevelopKernel }, { rawReader }] = await Promise.all([
    import('../../media/raw/develop/kernel.ts'),
    import('./raw.ts'),
  ]);
  const kernel = await DevelopKernel.load(memory);
  kernel.prepare({ picture: raw.picture, ...linearisation, lines: BAND_LINES });
  const read = await rawReader(raw, memory, kernel);
  return {
    read: async ({ index }) => {
      await read(index);
      return true;
    },
    values: (first) => kernel.camera(undefined, first),
    averages: () => null,
    toAp0: (planes) => kernel.toAp0(planes),
    special: () => null,
  };
}

/** Of one output; linear AP0 comes line by line from the top. Bytes of its file are views that stand until the next call. */
interface Writer {
  begin(head: FrameHead): void;
  /** Gives what is ready of the file, which may be nothing. */
  take(sceneLinear: Planes): Uint8Array;
  finish(): {
    /** The rest of it. */
    readonly bytes: Uint8Array;
    readonly invalid: number;
    readonly sketch: Int32Array;
    readonly limited: Limited;
  };
}

const ends = ({ least, greatest }: SceneLinearRange): Pick<Limited, 'least' | 'greatest'> => ({
  least: Math.min(...least),
  greatest: Math.max(...greatest),
});

const NOTHING = new Uint8Array();

/** Writers in the order of the outputs; each has its own room in the memory. */
async function writersOf(setup: FramePoolSetup, memory: KernelMemory, ranging: Ranging): Promise<Writer[]> {
  const writers: Writer[] = [];
  for (const { outcome } of setup.outputs) {
    const { format, width, height, compression } = outcome;
    if (format === 'dpx') {
      const [{ DpxEncoder }, { PictureKernel }] = await Promise.all([
        import('../../media/formats/dpx/writer.ts'),
        import('../../media/colour/picture.ts'),
      ]);
      const encoder = await DpxEncoder.create(memory);
      const bits = bitsOf(outcome);
      encoder.prepare({ width, height, bits });
      const kernel = await PictureKernel.load(memory);
      kernel.prepare({ width, height, lines: BAND_LINES, source: null, transform: null, bits });
      const sketching = await wholeFrames(memory, { width, height, values: 'codes' });
      let frame: DpxFrame | null = null;
      writers.push({
        begin: ({ says }) => {
          frame = says.kind === 'dpx' ? says.frame : null;
          encoder.begin();
          sketching.begin();
          kernel.takeLimited();
        },
        take: (sceneLinear) => {
          const codes = kernel.toAcescctCodes(sceneLinear);
          sketching.take(codes);
          encoder.take(codes);
          return NOTHING;
        },
        finish: () => {
          if (frame === null) throw new RangeError('a frame of DPX without what its header says');
          return {
            bytes: encoder.finish(frame),
            invalid: 0,
            sketch: sketching.sums(),
            limited: kernel.takeLimited(),
          };
        },
      });
    } else {
      const { ExrEncoder } = await import('../../media/formats/exr/writer.ts');
      const encoder = await ExrEncoder.create(memory);
      encoder.prepare(
        {
          width,
          height,
          compression,
          level: outcome.dwaLevel,
          container: format === 'aces' ? 'aces' : 'exr',
        },
        BAND_LINES,
      );
      const sketching = await wholeFrames(memory, {
        width,
        height,
        values: isLossy(outcome) ? 'curve' : 'halves',
      });
      writers.push({
        begin: ({ says }) => {
          if (says.kind !== 'exr') throw new RangeError('a frame of EXR without what its header says');
          encoder.begin(says.attributes);
          sketching.begin();
        },
        take: (sceneLinear) => {
          sketching.take(sceneLinear);
          return encoder.take(sceneLinear);
        },
        finish: () => ({
          bytes: encoder.finish(),
          invalid: encoder.nanCount,
          sketch: sketching.sums(),
          limited: {
            below: encoder.clampedBelow,
            above: encoder.clamped - encoder.clampedBelow,
            ...ends(ranging.range()),
          },
        }),
      });
    }
  }
  return writers;
}

/** The band from line `first` on, `width` pixels wide. */
interface Band {
  readonly planes: Planes;
  readonly first: number;
  readonly width: number;
}

/** Puts R, G, B of those points that lie in the band where they belong among all. */
function tap(
  memory: KernelMemory,
  { planes: { r, g, b, count }, first, width }: Band,
  points: readonly Point[],
  out: Float32Array,
): void {
  const planes = [memory.f32(r, count), memory.f32(g, count), memory.f32(b, count)];
  for (const [point, { x, y }] of points.entries()) {
    const at = (y - first) * width + x;
    if (y < first || at >= count) continue;
    for (const [channel, plane] of planes.entries()) out[3 * point + channel] = plane[at] as number;
  }
}

serve<FramePoolSetup, FrameOrder, FrameAnswer | null>(async (setup) => {
  const memory = new KernelMemory();
  const { width, height } = setup;
  const linearisation =
    setup.raw === null ? await codedLinearisation(setup, memory) : await rawLinearisation(setup, memory);
  const ranging = await rangeOf(memory);
  const writers = await writersOf(setup, memory, ranging);
  const feeders: Feeder[] = [];
  for (const feed of setup.feeds)
    feeders.push(await (await import('./encoder-input.ts')).feederOf(setup, feed, memory));
  return async (order) => {
    const { index, heads } = order;
    if (!(await linearisation.read(order))) return { result: null };
    const places = pointsOf(index, width, height);
    const points = new Float32Array(3 * POINTS);
    for (const [at, writer] of writers.entries()) writer.begin(heads[at] as FrameHead);
    for (const feeder of feeders) feeder.begin(index);
    ranging.begin();
    const files: FrameFile[] = [];
    const written: WrittenFrame[] = [];
    let invalid = 0;
    let read: ReadAverages | null = null;
    try {
      for (const [at, { folder }] of setup.outputs.entries())
        files.push(createFrameFile(folder, (heads[at] as FrameHead).file));
      for (let first = 0; first < height; first += BAND_LINES) {
        const planes = linearisation.values(first);
        tap(memory, { planes, first, width }, places, points);
        const sceneLinear = linearisation.toAp0(planes);
        ranging.take(sceneLinear);
        for (const [at, writer] of writers.entries()) (files[at] as FrameFile).put(writer.take(sceneLinear));
        for (const feeder of feeders) feeder.take(sceneLinear);
      }
      // Behind the arithmetic: what lay there all the while, and not what was there before it.
      read = linearisation.averages();
      for (const [at, file] of files.entries()) {
        const made = (writers[at] as Writer).finish();
        invalid += made.invalid;
        file.put(made.bytes);
        written.push({ ...file.end(), sketch: made.sketch, limited: made.limited });
      }
    } finally {
      for (const file of files) file.close();
    }
    const encoderInputs = feeders.map((feeder) => feeder.finish(index));
    return {
      result: {
        index,
        points,
        read,
        written,
        encoderInputs,
        invalid,
        special: linearisation.special(),
        range: ranging.range(),
      },
      transfer: [points.buffer, ...encoderInputs.map(({ bytes }) => bytes.buffer as ArrayBuffer)],
    };
  };
});
