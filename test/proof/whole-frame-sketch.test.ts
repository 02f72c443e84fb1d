/** Sketches of whole frames: equal for equal frames alone, and their difference estimates how far frames are apart. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { toHalf } from '../../check/master/exr/half.ts';
import { compareSketches, REGIONS, regionAt, WholeFrameSketch } from '../../proof/whole-frame-sketch.ts';
import { halfSteps } from '../../worker/master/whole-frames.ts';

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

test('the half nearest to a float is that of the reference, whatever the float', () => {
  const bits = new Int32Array(1);
  const value = new Float32Array(bits.buffer);
  const same = (word: number): void => {
    bits[0] = word;
    const half = toHalf(value[0] as number);
    const steps = (half & 0x8000) === 0 ? half : -(half & 0x7fff);
    expect(halfSteps(word) + 0, String(value[0])).toBe(steps + 0);
  };
  fc.assert(fc.property(fc.integer({ min: -(2 ** 31), max: 2 ** 31 - 1 }), same), { numRuns: 20_000 });
  // Around every border: ties, the smallest normal, the largest half, infinity, no number.
  for (const at of [
    0, 0x33000000, 0x33800000, 0x387fc000, 0x38800000, 0x3f800000, 0x477fe000, 0x477ff000, 0x7f800000,
    0x7fc00000,
  ])
    for (let off = -3; off <= 3; off += 1)
      for (const sign of [0, -(2 ** 31)]) if (at + off >= 0) same((at + off) | sign);
  for (let half = 0; half < 0x7bff; half += 37)
    for (const off of [0x0fff, 0x1000, 0x1001]) same(0x38000000 + (half << 13) + off);
});
