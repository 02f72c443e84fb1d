/** The kernels of ZIP chunks: zlib streams that zlib (node:zlib) reads back, and the byte split with its predictor. */
import { inflateSync } from 'node:zlib';
import fc from 'fast-check';
import { beforeAll, describe, expect, test } from 'vitest';
import { type ExrKernel, exrKernel } from '../../../media/formats/exr/kernel.ts';
import { KernelMemory } from '../../../media/kernels/memory.ts';
import '../../support/properties.ts';
import { numbers } from './encoded.ts';

const MOST = 400_000;
let memory: KernelMemory;
let kernel: ExrKernel;
let from: number;
let scratch: number;
let to: number;

beforeAll(async () => {
  memory = new KernelMemory();
  kernel = await exrKernel(memory);
  [from, scratch, to] = [
    memory.allocate(MOST + 64),
    memory.allocate(kernel.scratchBytes()),
    memory.allocate(MOST + 4096),
  ];
});

/** Null where the kernel says that the stream would not be smaller than `limit`. */
function packed(data: Uint8Array, section = data.length >> 1, limit = MOST + 4000): Buffer | null {
  memory.bytes(from, data.length).set(data);
  // What stood there before must not matter.
  memory.bytes(scratch, kernel.scratchBytes()).fill(0xa5);
  const size = kernel.zlib(from, data.length, section, scratch, to, limit);
  return size === 0 ? null : Buffer.from(memory.bytes(to, size));
}

function comesBack(data: Uint8Array, section?: number): number {
  const stream = packed(data, section);
  if (stream === null) throw new Error('no stream, though there was room');
  const back = inflateSync(stream);
  expect(back.length).toBe(data.length);
  expect(Buffer.compare(back, data)).toBe(0);
  return stream.length;
}

const filled = (size: number, value: (index: number, next: () => number) => number): Uint8Array => {
  const next = numbers(size + 1);
  return Uint8Array.from({ length: size }, (_, index) => value(index, next));
};
const kinds: Readonly<Record<string, (index: number, next: () => number) => number>> = {
  zeroes: () => 0,
  'one value': () => 200,
  ramp: (index) => index >> 4,
  noise: (_, next) => 256 * next(),
  'noise around the middle': (_, next) => 128 + 8 * (next() + next() + next() - 1.5),
  'lines that repeat': (index) => ((index % 5760) * 7919) >> 5,
  'noise, then zeroes': (index, next) => (index < 30_000 ? 256 * next() : 0),
  'rare values among many': (index, next) => (next() < 0.0005 ? index : 128),
  'a tree deeper than codes may be': (_, next) => Math.floor(-Math.log2(next() + 2 ** -30)) * 3,
};
// Around a block (49152 bytes), the window (32768) and the least and longest match (8, 258).
const sizes = [
  0, 1, 2, 3, 7, 8, 9, 15, 16, 255, 256, 257, 258, 259, 266, 1000, 32_767, 32_768, 32_769, 49_151, 49_152,
  49_153, 98_303, 98_304, 98_305, 184_320, 393_216,
];

describe.each(Object.entries(kinds))('%s', (_name, value) => {
  test.each(sizes)('%d bytes come back', (size) => {
    const data = filled(size, value);
    comesBack(data);
    comesBack(data, 0);
  });
});

test('any bytes come back, wherever their kinds part', () => {
  const pieces = fc.array(
    fc.oneof(
      fc.uint8Array({ maxLength: 400 }),
      fc
        .tuple(fc.integer({ min: 0, max: 255 }), fc.integer({ min: 1, max: 2000 }))
        .map(([value, count]) => new Uint8Array(count).fill(value)),
    ),
    { maxLength: 30 },
  );
  fc.assert(
    fc.property(pieces, fc.double({ min: 0, max: 1, noNaN: true }), (parts, place) => {
      // Twice, so that something repeats.
      const data = Buffer.concat([...parts, ...parts]);
      comesBack(data, Math.floor(place * data.length));
    }),
    { numRuns: 300 },
  );
});

test('one value takes next to nothing, noise no more than its stored form', () => {
  expect(comesBack(filled(184_320, () => 0))).toBeLessThan(400);
  // A block head of 5 bytes for each of four blocks, 6 bytes of zlib.
  expect(comesBack(filled(184_320, (_, next) => 256 * next()))).toBeLessThanOrEqual(184_320 + 4 * 5 + 6);
});

test('a stream that would not be smaller than the limit is none, and one byte more of room makes it one', () => {
  const data = filled(20_000, (_, next) => 128 + 10 * next());
  const size = comesBack(data);
  expect(packed(data, data.length >> 1, size)).toBeNull();
  expect(packed(data, data.length >> 1, size + 1)?.length).toBe(size);
  expect(
    packed(
      filled(20_000, (_, next) => 256 * next()),
      10_000,
      20_000,
    ),
  ).toBeNull();
});

test('nothing is written behind the stream but what eight bytes at a time spill', () => {
  const data = filled(50_000, (_, next) => 100 + 40 * next());
  const room = memory.bytes(to, MOST + 4096);
  room.fill(0x77);
  const size = packed(data)?.length ?? 0;
  expect(size).toBeGreaterThan(1000);
  expect(memory.bytes(to + size + 8, 4000).every((byte) => byte === 0x77)).toBe(true);
});

// Written out from the format's description (OpenEXR file layout; FFmpeg, exrenc.c): the reference is not made of the kernel's code.
function predicted(raw: Uint8Array): Uint8Array {
  const split = [...raw.filter((_, index) => index % 2 === 0), ...raw.filter((_, index) => index % 2 === 1)];
  return Uint8Array.from(split, (byte, index) =>
    index === 0 ? byte : byte - (split[index - 1] as number) + 128 + 256,
  );
}

test.each([2, 4, 6, 30, 32, 34, 62, 64, 66, 96, 1000, 1002, 9999 * 6])(
  '%d bytes: even and odd bytes apart, each as its difference from the one before',
  (size) => {
    const raw = filled(size, (_, next) => 256 * next());
    memory.bytes(from, size).set(raw);
    memory.bytes(to, size + 1).fill(0x55);
    kernel.splitAndPredict(from, size, to);
    expect(Uint8Array.from(memory.bytes(to, size))).toEqual(predicted(raw));
    expect(memory.bytes(to + size, 1)[0]).toBe(0x55);
  },
);
