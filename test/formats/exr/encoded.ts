/** Frames for the tests of EXR: pictures put into a thread's memory and encoded there. */
import { AP0 } from '../../../media/formats/exr/aces-rules.ts';
import type { ExrAttributes } from '../../../media/formats/exr/frame-attributes.ts';
import { ExrEncoder, type ExrWriting } from '../../../media/formats/exr/writer.ts';
import { KernelMemory } from '../../../media/kernels/memory.ts';
import { type Planes, planeBytes } from '../../../media/kernels/planes.ts';

export interface Picture {
  readonly r: Float32Array;
  readonly g: Float32Array;
  readonly b: Float32Array;
}

/** Numbers from 0 up to 1, the same every time (xorshift, Marsaglia 2003). */
export function numbers(seed: number): () => number {
  let state = seed;
  return () => {
    state ^= state << 13;
    state ^= state >>> 17;
    state ^= state << 5;
    return (state >>> 0) / 2 ** 32;
  };
}

/** Grain on a slope of light, from below black to far above white. */
export function grainy(width: number, height: number, seed = 7): Picture {
  const next = numbers(seed);
  // Whole powers of two with straight lines between: exact everywhere.
  const light = (stops: number): number => 2 ** Math.floor(stops) * (1 + stops - Math.floor(stops));
  const plane = (gain: number): Float32Array =>
    Float32Array.from(
      { length: width * height },
      (_, index) =>
        gain * light((12 * (index % width)) / width - 7) * (1 + 0.1 * (next() - 0.5)) - 0.01 * next(),
    );
  return { r: plane(1), g: plane(0.8), b: plane(0.5) };
}

export function placed(memory: KernelMemory, { r, g, b }: Picture): Planes {
  const [atR, atG, atB] = [r, g, b].map((plane) => memory.allocate(planeBytes(plane.length))) as [
    number,
    number,
    number,
  ];
  for (const [at, plane] of [
    [atR, r],
    [atG, g],
    [atB, b],
  ] as const)
    memory.f32(at, plane.length).set(plane);
  return { r: atR, g: atG, b: atB, count: r.length };
}

export interface Encoded {
  readonly bytes: Buffer;
  readonly nanCount: number;
  readonly clamped: number;
}

export async function encoded(
  form: ExrWriting,
  picture: Picture,
  attributes: Partial<ExrAttributes> = {},
): Promise<Encoded> {
  const memory = new KernelMemory();
  const encoder = await ExrEncoder.create(memory);
  encoder.prepare(form);
  const planes = placed(memory, picture);
  encoder.begin({ chromaticities: AP0, ...attributes });
  encoder.take(planes);
  const bytes = Buffer.from(encoder.finish());
  return { bytes, nanCount: encoder.nanCount, clamped: encoder.clamped };
}
