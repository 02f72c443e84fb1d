/** The kernel against the plain decoder: the same samples of every form, and damage told by both or by neither. */
import fc from 'fast-check';
import { beforeAll, describe, expect, test } from 'vitest';
import { KernelMemory } from '../../media/kernels/memory.ts';
import { decodeCfa, type Samples } from '../../media/formats/dng/decode.ts';
import { sourceOfBytes } from '../../media/formats/tiff/header.ts';
import { BEHIND, DngKernel } from '../../media/formats/dng/kernel.ts';
import { readDng } from '../../media/formats/dng/reader.ts';
import { type DngOptions, buildDng, testSamples } from '../support/dng.ts';
import '../support/properties.ts';

const memory = new KernelMemory();
let kernel: DngKernel;
beforeAll(async () => {
  kernel = await DngKernel.load(memory);
});

/** Samples, or what was thrown. */
function outcome(decode: () => Samples): Samples | string {
  try {
    return decode();
  } catch (error) {
    return (error as Error).message;
  }
}

async function expectSame(file: Buffer): Promise<Samples | string> {
  const frame = await readDng(sourceOfBytes(file));
  const plain = outcome(() => decodeCfa(file, frame));
  const mark = memory.mark;
  const fast = outcome(() => kernel.decode(file, frame));
  // Which of several faults is met first may differ.
  if (typeof plain === 'string') expect(typeof fast).toBe('string');
  else expect(fast).toEqual(plain);
  expect(memory.mark).toBe(mark);
  // And in a place of the same memory, between values that stay.
  const count = frame.picture.width * frame.picture.height * frame.storage.samples;
  const place = memory.allocate(count * (frame.storage.float ? 4 : 2) + BEHIND);
  const there = (): Samples => (frame.storage.float ? memory.f32(place, count) : memory.u16(place, count));
  const guard = memory.allocate(64);
  memory.bytes(guard, 64).fill(0xa5);
  const placed = outcome(() => {
    kernel.decodeInto(file, frame, there());
    return there().slice();
  });
  expect(placed).toEqual(fast);
  expect(memory.bytes(guard, 64).every((byte) => byte === 0xa5)).toBe(true);
  memory.reset(mark);
  return plain;
}

const size = fc.record({
  width: fc.integer({ min: 2, max: 60 }).map((half) => half * 2),
  height: fc.integer({ min: 1, max: 20 }).map((half) => half * 2),
  bits: fc.integer({ min: 8, max: 16 }),
  littleEndian: fc.boolean(),
  seed: fc.integer({ min: 1, max: 1_000_000 }),
  noise: fc.boolean(),
});

function samplesOf({
  width,
  height,
  bits,
  seed,
  noise,
}: {
  width: number;
  height: number;
  bits: number;
  seed: number;
  noise: boolean;
}): Uint16Array {
  const samples = testSamples(width, height, bits, seed);
  return noise
    ? samples.map((_, index) => (Math.imul(index + 1, seed * 2 + 1) >>> 7) & (2 ** bits - 1))
    : samples;
}

describe('the same samples', () => {
  test('packed, in words, in strips and tiles', async () => {
    await fc.assert(
      fc.asyncProperty(
        size,
        fc.boolean(),
        fc.boolean(),
        fc.integer({ min: 1, max: 40 }),
        async (given, words, lowBitFirst, rows) => {
          const samples = samplesOf(given);
          const where: Partial<DngOptions> =
            rows % 2 === 0 ? { rowsPerStrip: rows } : { tile: { width: 16 * (1 + (rows % 3)), height: 16 } };
          const form = words && given.bits > 8 ? { words } : { lowBitFirst: lowBitFirst && given.bits < 16 };
          expect(await expectSame(buildDng({ ...given, samples, ...form, ...where }))).toEqual(samples);
        },
      ),
      { numRuns: 40 },
    );
  });

  test('lossless JPEG of every predictor, number of components and length of code', async () => {
    await fc.assert(
      fc.asyncProperty(
        size,
        fc.record({
          components: fc.constantFrom(1, 2, 4),
          predictor: fc.integer({ min: 1, max: 7 }),
          restartLines: fc.integer({ min: 0, max: 5 }),
          codes: fc.constantFrom('by-frequency', 'rarest-first'),
          ownTables: fc.boolean(),
          fillBytes: fc.integer({ min: 0, max: 2 }),
          pointTransform: fc.constantFrom(0, 0, 0, 3),
        } as const),
        fc.boolean(),
        async (given, { components, ...jpeg }, tiled) => {
          const fitting = components === 4 && given.width % 4 !== 0 ? 2 : components;
          const samples = samplesOf(given).map(
            (sample) => (sample >> jpeg.pointTransform) << jpeg.pointTransform,
          );
          const where: Partial<DngOptions> = tiled
            ? { tile: { width: 32, height: 16 } }
            : { rowsPerStrip: 14 };
          expect(
            await expectSame(
              buildDng({ ...given, samples, ...where, jpeg: { ...jpeg, components: fitting as 1 | 2 | 4 } }),
            ),
          ).toEqual(samples);
        },
      ),
      { numRuns: 60 },
    );
  });
});

describe('damage', () => {
  const [width, height] = [32, 16];
  test.each([
    ['JPEG strips', { rowsPerStrip: 8, jpeg: { components: 2, restartLines: 4 } }],
    [
      'JPEG tiles of long codes',
      { tile: { width: 16, height: 16 }, jpeg: { components: 2, codes: 'rarest-first', predictor: 6 } },
    ],
  ] as [string, Partial<DngOptions>][])('%s, any byte anything', async (_name, form) => {
    const file = buildDng({ width, height, samples: testSamples(width, height, 12), bits: 12, ...form });
    const { pieces } = (await readDng(sourceOfBytes(file))).storage;
    let reported = 0;
    for (const piece of pieces) {
      for (let at = piece.offset; at < piece.offset + piece.bytes; at += 1) {
        for (const value of [0xff, (file[at] as number) ^ 0x40]) {
          const spoiled = Buffer.from(file);
          spoiled[at] = value;
          if (typeof (await expectSame(spoiled)) === 'string') reported += 1;
        }
      }
    }
    expect(reported).toBeGreaterThan(100);
  });
});
