/** Averages of a frame in memory against those that ffmpeg's own scaler takes behind the decoder, format by format, on noise over waves. */
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import fc from 'fast-check';
import { beforeAll, describe, expect, test } from 'vitest';
import { layoutOf } from '../../media/colour/formats.ts';
import { CELLS, COLOUR_CELLS, type Reading } from '../../proof/form.ts';
import { readAverages } from '../../proof/read-averages.ts';
import { compareReading, READ_BOUND, readingBytes, readingOf } from '../../proof/reading.ts';
import { pictureTap, rawPictures } from '../../proof/tap.ts';
import { KernelMemory } from '../../media/kernels/memory.ts';
import { averagesInMemory } from '../../worker/master/averages.ts';
import { sharedFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';
import { ffmpeg } from '../support/media.ts';

/** Every coding, depth and packing; of floats also values beyond 0 and 1. */
function frameOf(format: string, width: number, height: number): Buffer {
  const layout = layoutOf(format, width, height);
  const bytes = Buffer.alloc(layout.bytes);
  let state = 7;
  const noise = (): number => (state = (Math.imul(state, 1_664_525) + 1_013_904_223) >>> 0) / 2 ** 32;
  const most = layout.bits === 32 ? 1 : 2 ** layout.bits - 1;
  for (const [
    index,
    { first, step, line, width: across, height: down, coding, shift },
  ] of layout.samples.entries())
    for (let y = 0; y < down; y += 1)
      for (let x = 0; x < across; x += 1) {
        const wave = Math.sin((9 * x) / across + index) * Math.cos((7 * y) / down);
        const value = Math.min(1, Math.max(0, 0.5 + 0.4 * wave + 0.25 * (noise() - 0.5)));
        const at = first + y * line + x * step;
        const code = Math.round(value * most) << shift;
        if (coding === 'u8') bytes[at] = code;
        else if (coding === 'u16le') bytes.writeUInt16LE(code, at);
        else if (coding === 'u16be') bytes.writeUInt16BE(code, at);
        else bytes.writeFloatLE(1.3 * value - 0.1, at);
      }
  return bytes;
}

const words = (path: string): Uint16Array => {
  const bytes = readFileSync(path);
  return Uint16Array.from({ length: bytes.length / 2 }, (_, at) => bytes.readUInt16LE(2 * at));
};
const apart = (a: Uint16Array, b: Uint16Array): number =>
  Math.max(...Array.from(a, (value, at) => Math.abs(value - (b[at] as number))));

const formats = [
  'yuv420p',
  'yuv422p10le',
  'yuv444p12le',
  'yuva444p10le',
  'gray16le',
  'grayf32le',
  'gbrp',
  'gbrp10le',
  'gbrp12le',
  'rgb48le',
  'rgb48be',
  'gbrpf32le',
  'yuyv422',
  'nv12',
];

const sizes: readonly (readonly [width: number, height: number])[] = [
  [32, 32],
  [96, 54],
  [480, 270],
];
/** Of one format for each number of bits, and in the long lane of all: what is different in a large frame is its size. */
const LARGE = [1998, 1080] as const;
const large: readonly string[] = ['yuv420p', 'rgb48be', 'gbrpf32le', ...further(...formats)];

describe.each(formats)('%s', (format) => {
  const wanted = large.includes(format) ? [...sizes, LARGE] : sizes;
  const results: {
    readonly frame: Buffer;
    readonly luma: Uint16Array;
    readonly colour: Uint16Array | null;
  }[] = [];

  // One program for all sizes of a format.
  beforeAll(async () => {
    const folder = mkdtempSync(join(sharedFolder, 'averages-'));
    const frames = wanted.map(([width, height]) => frameOf(format, width, height));
    const taps = wanted.map(([width, height], index) =>
      pictureTap(`${index}:v`, {
        pixelFormat: format,
        size: { width, height },
        earlierField: null,
        framing: null,
      }),
    );
    const path = (name: string, index: number): string => join(folder, `${name}-${index}`);
    for (const [index, frame] of frames.entries()) writeFileSync(path('frame', index), frame);
    const prefixed = (index: number, text: string): string =>
      text.replace(/\[(?!\d+:v\])([^\]]+)\]/g, `[$1_${index}]`);
    await ffmpeg(
      '-noauto_conversion_filters',
      ...wanted.flatMap(([width, height], index) => [
        ...['-f', 'rawvideo', '-pix_fmt', format, '-s', `${width}x${height}`],
        ...['-i', path('frame', index)],
      ]),
      ...[
        '-filter_complex',
        taps.flatMap(({ chains }, index) => chains.map((chain) => prefixed(index, chain))).join(';'),
      ],
      ...taps.flatMap(({ hasColour }, index) => [
        ...[...rawPictures('luma').map((word) => prefixed(index, word)), path('luma', index)],
        ...(hasColour
          ? [...rawPictures('colour').map((word) => prefixed(index, word)), path('colour', index)]
          : []),
      ]),
    );
    for (const [index, frame] of frames.entries())
      results.push({
        frame,
        luma: words(path('luma', index)),
        colour: taps[index]?.hasColour === true ? words(path('colour', index)) : null,
      });
    rmSync(folder, { recursive: true });
  }, 120_000);

  test.each(wanted.map(([width, height], index) => [width, height, index] as const))(
    '%i x %i: the scaler and these averages agree to rounding',
    async (width, height, index) => {
      const { frame, luma, colour } = results[index] as (typeof results)[number];
      const layout = layoutOf(format, width, height);
      const own = readAverages(frame, layout);
      const memory = new KernelMemory();
      const view = memory.allocate(frame.length);
      const inMemory = await averagesInMemory(memory, layout);
      memory.bytes(view, frame.length).set(frame);
      expect(inMemory(memory.bytes(view, frame.length))).toEqual(own);
      expect(apart(luma, own.luma)).toBeLessThanOrEqual(READ_BOUND);
      // Packed and semi-planar formats are compared by their luma.
      expect(own.colour === null).toBe(['gray16le', 'grayf32le', 'yuyv422', 'nv12'].includes(format));
      if (own.colour !== null)
        expect(apart(colour as Uint16Array, own.colour)).toBeLessThanOrEqual(READ_BOUND);
    },
  );
});

const readingArbitrary = fc.integer({ min: 1, max: 5 }).chain((frames) => {
  const luma = fc.uint16Array({ minLength: frames * CELLS, maxLength: frames * CELLS });
  const colour = fc.uint16Array({ minLength: 2 * COLOUR_CELLS, maxLength: 2 * COLOUR_CELLS });
  return fc.record({ a: luma, b: luma, c: colour, d: colour, has: fc.boolean() }).map(
    ({ a, b, c, d, has }): Reading => ({
      decoded: { frames, views: 1, luma: a, colour: has ? c : null },
      read: { frames, views: 1, luma: b, colour: has ? d : null },
    }),
  );
});

test('what was read comes back from its bytes as it was, and a cut-off one is refused', () => {
  fc.assert(
    fc.property(readingArbitrary, fc.nat(), (reading, cut) => {
      const bytes = readingBytes(reading);
      expect(readingOf(bytes)).toEqual(reading);
      expect(() => readingOf(bytes.subarray(0, cut % bytes.length))).toThrow(RangeError);
    }),
    { numRuns: 25 },
  );
});

test('frames of another number are compared with nothing', () => {
  const of = (frames: number): Reading['read'] => ({
    frames,
    views: 1,
    luma: new Uint16Array(frames * CELLS),
    colour: null,
  });
  expect(compareReading({ decoded: of(3), read: of(2) })).toBeNull();
  expect(compareReading({ decoded: of(3), read: of(3) })?.differences).toEqual([]);
});
