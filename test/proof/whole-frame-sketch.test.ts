/** Sketches of whole frames: equal for equal frames alone, and their difference estimates how far frames are apart. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { toHalf } from '../../check/master/exr/half.ts';
import { compareSketches, REGIONS, regionAt, WholeFrameSketch } from '../../proof/whole-frame-sketch.ts';
import { KernelMemory } from '../../media/kernels/memory.ts';
import { planeBytes } from '../../media/kernels/planes.ts';
import { wholeFrames } from '../../worker/master/whole-frames.ts';

const [WIDTH, HEIGHT] = [97, 53];
const size = { width: WIDTH, height: HEIGHT };

function sketchOf(planes: readonly Int32Array[]): Int32Array {
  const sketch = new WholeFrameSketch(WIDTH, HEIGHT);
  for (const [channel, plane] of planes.entries())
    for (let y = 0; y < HEIGHT; y += 1) sketch.take(channel, y, plane.subarray(y * WIDTH, (y + 1) * WIDTH));
  return sketch.sums();
}
const noise = (seed: number): Int32Array =>
  Int32Array.from({ length: WIDTH * HEIGHT }, (_, at) => (Math.imul(at + seed, 0x9e3779b1) >>> 8) % 15_000);
const frame = (): Int32Array[] => [noise(1), noise(2), noise(3)];

test('regions part the picture without a gap', () => {
  const seen = new Uint8Array(WIDTH * HEIGHT);
  for (let region = 0; region < REGIONS; region += 1) {
    const { left, right, top, bottom } = regionAt(region, WIDTH, HEIGHT);
    for (let y = top; y < bottom; y += 1)
      for (let x = left; x < right; x += 1) seen[y * WIDTH + x] = (seen[y * WIDTH + x] as number) + 1;
  }
  expect(seen.every((count) => count === 1)).toBe(true);
});

test('one value that differs by one step is found, in its region', () => {
  const wanted = sketchOf(frame());
  fc.assert(
    fc.property(
      fc.nat(WIDTH * HEIGHT - 1),
      fc.nat(2),
      fc.integer({ min: -999, max: 999 }),
      (at, channel, step) => {
        const planes = frame();
        const plane = planes[channel] as Int32Array;
        plane[at] = (plane[at] as number) + step;
        const off = compareSketches(sketchOf(planes), wanted, size);
        if (step === 0) {
          expect(off).toBeNull();
          return;
        }
        const { left, right, top, bottom } = off?.worst ?? regionAt(0, 0, 0);
        const [x, y] = [at % WIDTH, Math.floor(at / WIDTH)];
        expect(off?.regions).toBe(1);
        expect(x >= left && x < right && y >= top && y < bottom).toBe(true);
      },
    ),
  );
});

test('lines exchanged, a column moved and a block of another place are found', () => {
  const wanted = sketchOf(frame());
  const spoil = (act: (plane: Int32Array) => void): Int32Array => {
    const planes = frame();
    for (const plane of planes) act(plane);
    return sketchOf(planes);
  };
  const ways: ((plane: Int32Array) => void)[] = [
    (plane) => void plane.copyWithin(10 * WIDTH, 11 * WIDTH, 12 * WIDTH),
    (plane) => {
      for (let y = 0; y < HEIGHT; y += 1) plane[y * WIDTH + 40] = plane[y * WIDTH + 41] as number;
    },
    (plane) => {
      for (let y = 0; y < 6; y += 1)
        plane.copyWithin((20 + y) * WIDTH + 30, (y + 2) * WIDTH, (y + 2) * WIDTH + 6);
    },
    (plane) => void plane.fill(0, 0, WIDTH),
  ];
  for (const act of ways) expect(compareSketches(spoil(act), wanted, size)).not.toBeNull();
});

/** As a half has it: steps from zero, with the sign. */
function stepsOf(bits: number): number {
  const value = new Float32Array(Int32Array.of(bits).buffer);
  const half = toHalf(value[0] as number);
  return (half & 0x8000) === 0 ? half : -(half & 0x7fff);
}

/** What the kernel makes of planes of these words, a band after the other as a thread hands them over. */
async function byKernel(
  planes: readonly (Int32Array | Uint16Array)[],
  { width, height, band }: { width: number; height: number; band: number },
): Promise<Int32Array> {
  const memory = new KernelMemory();
  const values = planes[0] instanceof Uint16Array ? 'codes' : 'halves';
  const sketching = await wholeFrames(memory, { width, height, values });
  const at = planes.map(() => memory.allocate(planeBytes(width * band)));
  // What lies behind a plane must not matter.
  for (const place of at) memory.bytes(place, planeBytes(width * band)).fill(0x5a);
  sketching.begin();
  for (let first = 0; first < height; first += band) {
    const count = width * Math.min(band, height - first);
    for (const [channel, plane] of planes.entries()) {
      const part = plane.subarray(first * width, first * width + count);
      if (part instanceof Uint16Array) memory.u16(at[channel] as number, count).set(part);
      else memory.i32(at[channel] as number, count).set(part);
    }
    const [r, g, b] = at as [number, number, number];
    sketching.take({ r, g, b, count });
  }
  return sketching.sums();
}

const words = (): fc.Arbitrary<number> => fc.integer({ min: -(2 ** 31), max: 2 ** 31 - 1 });

test('the kernel sketches the halves nearest to the floats, whatever the floats', async () => {
  // Around every border: ties, the smallest normal, the largest half, infinity, no number.
  const borders = [
    0, 0x33000000, 0x33800000, 0x387fc000, 0x38800000, 0x3f800000, 0x477fe000, 0x477ff000, 0x7f800000,
    0x7fc00000,
  ].flatMap((at) => [-3, -2, -1, 0, 1, 2, 3].map((off) => Math.max(0, at + off)));
  const ties = Array.from({ length: 830 }, (_, at) =>
    [0x0fff, 0x1000, 0x1001].map((off) => 0x38000000 + ((37 * at) << 13) + off),
  ).flat();
  const all = [...borders, ...ties].flatMap((at) => [at, at | -(2 ** 31)]);
  // 8 by 8: every pixel is a region of its own, and no two can make up for one another.
  for (let from = 0; from < all.length; from += 64) {
    const plane = Int32Array.from({ length: 64 }, (_, at) => all[from + at] ?? 0);
    const sketch = new WholeFrameSketch(8, 8);
    for (const channel of [0, 1, 2])
      for (let y = 0; y < 8; y += 1)
        sketch.take(channel, y, Int32Array.from(plane.subarray(8 * y, 8 * y + 8), stepsOf));
    expect(await byKernel([plane, plane, plane], { width: 8, height: 8, band: 8 })).toEqual(sketch.sums());
  }
});

test('the kernel takes every size and every band as the plain code does', async () => {
  await fc.assert(
    fc.asyncProperty(
      fc.record({
        width: fc.integer({ min: 1, max: 90 }),
        height: fc.integer({ min: 1, max: 40 }),
        band: fc.integer({ min: 1, max: 16 }),
      }),
      fc.boolean(),
      fc.array(words(), { minLength: 7, maxLength: 40 }),
      async ({ width, height, band }, isCodes, drawn) => {
        const planes = [0, 1, 2].map((channel) => {
          const at = (index: number): number => drawn[(index * (channel + 3)) % drawn.length] as number;
          const length = width * height;
          return isCodes
            ? Uint16Array.from({ length }, (_, index) => at(index) & 0x7fff)
            : Int32Array.from({ length }, (_, index) => at(index));
        });
        const sketch = new WholeFrameSketch(width, height);
        for (const [channel, plane] of planes.entries())
          for (let y = 0; y < height; y += 1) {
            const line = plane.subarray(y * width, (y + 1) * width);
            sketch.take(channel, y, line instanceof Uint16Array ? line : Int32Array.from(line, stepsOf));
          }
        expect(await byKernel(planes, { width, height, band })).toEqual(sketch.sums());
      },
    ),
  );
});
