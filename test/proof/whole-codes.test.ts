/** Pictures for encoders, every sample: the quick arithmetic against the slow one, and what it finds. */
import { expect, test } from 'vitest';
import fc from 'fast-check';
import { exactYuv10Of } from '../../media/colour/acescct.ts';
import { compareCodes, exactCodes } from '../../proof/whole-codes.ts';

const planesOf = (pixels: readonly (readonly [number, number, number])[]) =>
  [0, 1, 2].map((channel) => Float64Array.from(pixels, (pixel) => pixel[channel] as number)) as [
    Float64Array,
    Float64Array,
    Float64Array,
  ];
const room = (count: number) =>
  [new Float64Array(count), new Float64Array(count), new Float64Array(count)] as [
    Float64Array,
    Float64Array,
    Float64Array,
  ];

test('every pixel as the slow way has it', () => {
  const value = fc.oneof(
    fc.double({ min: -0.05, max: 0.05, noNaN: true }),
    fc.double({ min: 0, max: 2, noNaN: true }),
    fc.double({ min: 0, max: 300, noNaN: true }),
  );
  fc.assert(
    fc.property(fc.array(fc.tuple(value, value, value), { minLength: 1, maxLength: 20 }), (pixels) => {
      const into = room(pixels.length);
      exactCodes(planesOf(pixels), pixels.length, into);
      for (const [at, pixel] of pixels.entries())
        for (const [plane, wanted] of exactYuv10Of(pixel).entries())
          expect(into[plane]?.[at]).toBeCloseTo(wanted, 8);
    }),
  );
});

test('a grey of 18 % is code 426 of ACEScct, without colour (S-2016-001: 0.4136; 64 + 876 * 0.4136)', () => {
  const into = room(1);
  expect(exactCodes(planesOf([[0.18, 0.18, 0.18]]), 1, into)).toBe(0);
  expect(into[0][0]).toBeCloseTo(64 + 876 * 0.4135884, 3);
  expect([into[1][0], into[2][0]].map((code) => Math.round(1000 * (code as number)) / 1000)).toEqual([
    512, 512,
  ]);
});

test('one sample that is a code off is found, and named; what is limited is counted', () => {
  const [width, height] = [8, 6];
  const pixels = Array.from({ length: width * height }, (_, at) => [0.2 + 0.002 * at, 0.2, 0.2] as const);
  const wanted = room(pixels.length);
  expect(exactCodes(planesOf(pixels), pixels.length, wanted)).toBe(0);
  const rounded = (plane: Float64Array): Uint16Array => Uint16Array.from(plane, (code) => Math.round(code));
  const found = [rounded(wanted[0]), rounded(wanted[1]), rounded(wanted[2])] as const;
  expect(compareCodes(found, wanted, { width, allowed: 0.52, limited: 0 }).count).toBe(0);
  const at = 3 * width + 5;
  found[1][at] = (found[1][at] as number) + 1;
  expect(compareCodes(found, wanted, { width, allowed: 0.52, limited: 0 })).toMatchObject({
    count: 1,
    samples: 3 * pixels.length,
    farthest: { plane: 1, x: 5, y: 3 },
  });
  // Blue alone, as bright as no code: Cb beyond 1019.
  expect(exactCodes(planesOf([[0, 0, 60_000]]), 1, room(1))).toBeGreaterThan(0);
});
