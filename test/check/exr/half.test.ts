/** Rounding to half: values of IEEE 754 binary16, and the kernel against the reference bit for bit. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { fromHalf, halfValues, isNotFinite, roundToHalf, toHalf } from '../../../check/master/exr/half.ts';
import { exrKernel } from '../../../media/formats/exr/kernel.ts';
import { KernelMemory } from '../../../media/kernels/memory.ts';
import '../../support/properties.ts';
import { numbers } from '../../formats/exr/encoded.ts';

// Bits and values as IEEE 754-2008 gives them for binary16 (table 3.5 and its formula), computed by hand.
test.each([
  [0x0001, 2 ** -24],
  [0x03ff, 1023 * 2 ** -24],
  [0x0400, 2 ** -14],
  [0x31c3, 0.1800537109375],
  [0x3c00, 1],
  [0x3c01, 1.0009765625],
  [0xc000, -2],
  [0x7bff, 65504],
  [0xfbff, -65504],
])('half 0x%s is %d, both ways', (bits, value) => {
  expect(fromHalf(bits)).toBe(value);
  expect(toHalf(value)).toBe(bits);
});

test.each([
  ['0.18, between 0x31c2 and 0x31c3, nearer to the latter', 0.18, 0x31c3],
  ['the middle of 1 and the next, to the even 1', 1 + 2 ** -11, 0x3c00],
  ['the middle of the next and the one behind, to the even latter', 1 + 3 * 2 ** -11, 0x3c02],
  ['just above a middle, in double precision only', 1 + 2 ** -11 + 2 ** -50, 0x3c01],
  ['the middle of 0 and the smallest, to 0', 2 ** -25, 0],
  ['just above it, to the smallest', 2 ** -25 * (1 + 2 ** -20), 1],
  ['the middle below the smallest normal, to that', 2 ** -14 - 2 ** -25, 0x0400],
  ['65519 stays below infinity', 65519, 0x7bff],
  ['65520, which rounds to infinity, is clamped', 65520, 0x7bff],
  ['far beyond', -1e30, 0xfbff],
  ['infinity', Number.POSITIVE_INFINITY, 0x7bff],
  ['minus infinity', Number.NEGATIVE_INFINITY, 0xfbff],
  ['no number', Number.NaN, 0],
  ['minus zero keeps its sign', -0, 0x8000],
])('%s', (_name, value, bits) => {
  expect(toHalf(value)).toBe(bits);
});

test('every finite half comes back as itself, and none of the others is made', () => {
  const values = halfValues();
  for (let bits = 0; bits < 65_536; bits++) {
    if (isNotFinite(bits)) expect(isNotFinite(toHalf(values[bits] as number))).toBe(false);
    else expect(toHalf(values[bits] as number)).toBe(bits);
  }
});

test('no half is nearer than the one that a value is rounded to', () => {
  fc.assert(
    fc.property(fc.double({ min: -65_504, max: 65_504, noNaN: true }), (value) => {
      const bits = toHalf(value);
      const distance = Math.abs(roundToHalf(value) - value);
      for (const neighbour of [bits - 1, bits + 1]) {
        if ((neighbour & 0x7fff) >= 0x7c00 || neighbour < 0 || (neighbour & 0x8000) !== (bits & 0x8000))
          continue;
        expect(Math.abs(fromHalf(neighbour) - value)).toBeGreaterThanOrEqual(distance);
      }
    }),
  );
});

describe('the kernel', () => {
  async function rounded(
    values: Float32Array,
  ): Promise<{ halves: Uint16Array; nanCount: number; clamped: number }> {
    const memory = new KernelMemory();
    const kernel = await exrKernel(memory);
    const from = memory.allocate(4 * values.length);
    const to = memory.allocate(2 * values.length);
    memory.f32(from, values.length).set(values);
    kernel.clearCounts();
    kernel.halves(from, values.length, to);
    return {
      halves: Uint16Array.from(memory.u16(to, values.length)),
      nanCount: kernel.countNans(),
      clamped: kernel.countClamped(),
    };
  }

  const agree = async (values: Float32Array): Promise<void> => {
    const { halves, nanCount, clamped } = await rounded(values);
    const wrong: string[] = [];
    for (const [index, value] of values.entries())
      if (halves[index] !== toHalf(value)) wrong.push(`${value}: ${halves[index]}, not ${toHalf(value)}`);
    expect(wrong).toEqual([]);
    expect(nanCount).toBe(values.filter(Number.isNaN).length);
    expect(clamped).toBe(values.filter((value) => Math.abs(value) > 65_504).length);
  };

  test('agrees with the reference on every half, every middle between two, and the floats beside each', async () => {
    const near: number[] = [];
    const bits = new Uint32Array(1);
    const float = new Float32Array(bits.buffer);
    for (let half = 0; half < 0x7bff; half++) {
      for (const value of [fromHalf(half), (fromHalf(half) + fromHalf(half + 1)) / 2]) {
        float[0] = value;
        const middle = bits[0] as number;
        for (const one of [middle - 1, middle, middle + 1]) {
          if (one < 0) continue;
          bits[0] = one;
          near.push(float[0], -float[0]);
        }
      }
    }
    await agree(Float32Array.from(near));
  });

  test('agrees on a million floats of any bits, none of which is left infinite or no number', async () => {
    const next = numbers(20_261_125);
    const bits = Uint32Array.from({ length: 1_000_000 }, () => Math.floor(next() * 2 ** 32));
    await agree(new Float32Array(bits.buffer));
    const { halves } = await rounded(new Float32Array(bits.buffer));
    expect(halves.filter(isNotFinite).length).toBe(0);
  });

  test.each([1, 2, 3, 5, 7, 8, 9, 15, 17])(
    '%d values: as many are written and counted, no more',
    async (count) => {
      const values = new Float32Array(count).fill(Number.NaN);
      values[0] = 70_000;
      expect(await rounded(values)).toEqual({
        halves: Uint16Array.from({ length: count }, (_, index) => (index === 0 ? 0x7bff : 0)),
        nanCount: count - 1,
        clamped: 1,
      });
    },
  );
});
