/** A table looked up again: against the real filters, and what the comparison of the thinned pictures sees. */
import { writeFileSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { Readable } from 'node:stream';
import { describe, expect, test } from 'vitest';
import type { WayTable } from '../../media/colour/shown/table.ts';
import { tableFiles } from '../../media/colour/shown/table.ts';
import { thinChains, throughTable } from '../../profiles/recipe/shown.ts';
import { lookUp } from '../../proof/colour-way/look-up.ts';
import { SQUARE, ThinComparer, thinned, type ThinVerdict } from '../../proof/colour-way/thin.ts';
import { colourWayVerdict } from '../../check/colour-way.ts';
import { clipFacts } from '../support/facts.ts';
import { freshFolder } from '../support/folder.ts';
import { ffmpeg } from '../support/media.ts';

const MOST = 2 ** 14 - 1;

/** The same numbers on every run. */
function uniform(seed: number): () => number {
  let state = seed;
  return () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return state / 2 ** 32;
  };
}

/** A table without any order, so that every place of it and every tetrahedron shows. */
function wildTable(size: number, seed: number): WayTable {
  const random = uniform(seed);
  const curve = Float64Array.from({ length: MOST + 1 }, random);
  let sum = 0;
  const rising = curve.map((step) => (sum += step));
  const spread = Uint16Array.from(rising, (value) =>
    Math.round(((value - (rising[0] as number)) / (sum - (rising[0] as number))) * MOST),
  );
  const values = Float32Array.from({ length: 3 * size ** 3 }, () => Math.round(random() * 10 ** 7) / 10 ** 7);
  return { spread, size, values };
}

test('gives what lut1d and lut3d give, cut off, over all codes', async () => {
  const folder = freshFolder('look-up');
  const table = wildTable(17, 3);
  const { spread, space } = tableFiles(table);
  const paths = { spread: join(folder, 'spread.cube'), space: join(folder, 'space.cube') };
  writeFileSync(paths.spread, spread);
  writeFileSync(paths.space, space);
  const [width, height] = [256, 192];
  const count = width * height;
  const random = uniform(11);
  // Every code of the curve as a grey, the ends in every combination, and colours without order.
  const ends = [0, 1, 8191, MOST - 1, MOST];
  const corners = ends.flatMap((r) => ends.flatMap((g) => ends.map((b) => [r, g, b])));
  const codes = Array.from({ length: count }, (_, at): readonly number[] =>
    at <= MOST
      ? [at, at, at]
      : (corners[at - MOST - 1] ?? [0, 1, 2].map(() => Math.min(MOST, Math.floor(random() * (MOST + 1))))),
  );
  const words = new Uint16Array(3 * count);
  for (const [at, code] of codes.entries())
    for (const [channel, plane] of [2, 0, 1].entries()) words[plane * count + at] = code[channel] as number;
  const [from, to] = [join(folder, 'before.raw'), join(folder, 'behind.raw')];
  writeFileSync(from, new Uint8Array(words.buffer));
  await ffmpeg(
    ...['-f', 'rawvideo', '-pix_fmt', 'gbrp14le', '-s', `${width}x${height}`, '-i', from],
    ...['-vf', throughTable(paths), '-pix_fmt', 'gbrp14le', '-f', 'rawvideo', to],
  );
  const bytes = readFileSync(to);
  const expected = [0, 1, 2].map((channel) =>
    Float64Array.from(codes, (code) => code[channel] as number),
  ) as [Float64Array, Float64Array, Float64Array];
  lookUp(table, expected, MOST);
  let worst = 0;
  for (const [channel, plane] of [2, 0, 1].entries())
    for (let at = 0; at < count; at += 1) {
      const found = bytes.readUInt16LE(2 * (plane * count + at));
      worst = Math.max(worst, Math.abs(found + 0.5 - ((expected[channel] as Float64Array)[at] as number)));
    }
  // Half a code for what is cut off, and what 32-bit floats of 14 bits lose.
  expect(worst).toBeLessThan(0.51);
  expect(worst).toBeGreaterThan(0.4);
});

describe('the thinned pictures before and behind the table', () => {
  const size = { width: 96, height: 64 };
  const table = wildTable(9, 5);
  const { width, height } = thinned(size);
  const count = width * height;
  const FRAMES = 3;
  const pictures = (): Uint16Array[] => {
    const random = uniform(23);
    return Array.from({ length: FRAMES }, () =>
      Uint16Array.from({ length: 3 * count }, () => Math.floor(random() * (MOST + 1))),
    );
  };
  const through = (words: Uint16Array, by: WayTable = table, rounded = Math.floor): Uint16Array => {
    const plane = (at: number): Float64Array =>
      Float64Array.from(words.subarray(at * count, (at + 1) * count));
    const planes = [plane(2), plane(0), plane(1)] as const;
    lookUp(by, planes, MOST);
    return Uint16Array.from([...planes[1], ...planes[2], ...planes[0]], rounded);
  };
  async function seen(before: readonly Uint16Array[], behind: readonly Uint16Array[]): Promise<ThinVerdict> {
    const comparer = new ThinComparer({ size, table, bits: 14 });
    const stream = (words: readonly Uint16Array[]): Readable =>
      Readable.from([
        Buffer.concat(words.map((one) => Buffer.from(one.buffer, one.byteOffset, one.byteLength))),
      ]);
    await Promise.all([comparer.read('before', stream(before)), comparer.read('behind', stream(behind))]);
    return comparer.verdict();
  }
  const faultsOf = (thin: ThinVerdict): string[] =>
    colourWayVerdict(
      {
        from: 'developed',
        recorded: null,
        thin,
        table: 'f'.repeat(64),
        error: { colours: 2000, most: 0.8, greatest: 1.5 },
      },
      FRAMES,
    ).faults.map(({ found }) => found);

  test('what the filter may give passes: cut off, and what floats of 32 bits make of it', async () => {
    const clean = await seen(
      pictures(),
      pictures().map((words) => through(words)),
    );
    expect(clean).toMatchObject({ frames: FRAMES, samples: FRAMES * 3 * count, off: [] });
    expect(faultsOf(clean)).toEqual([]);
    const hair = await seen(
      pictures(),
      pictures().map((words) => through(words, table, (value) => Math.floor(value + 0.05))),
    );
    expect(faultsOf(hair)).toEqual([]);
    // Rounded in place of cut off is something else than the filter gives.
    const nearest = await seen(
      pictures(),
      pictures().map((words) => through(words, table, Math.round)),
    );
    expect(faultsOf(nearest)).not.toEqual([]);
  });

  /** Behind the table; the frames are as they were. */
  const faults: readonly [string, (behind: Uint16Array[]) => Uint16Array[], RegExp, number][] = [
    [
      'one square of 8 by 8 pixels of one frame',
      (behind) => {
        const [, frame] = behind;
        if (frame !== undefined) frame[count + 37] = ((frame[count + 37] as number) + 2) % (MOST + 1);
        return behind;
      },
      /^frame 1: B' \d+ in the square 4, 3$/,
      1,
    ],
    [
      'one frame a repeat of the one before',
      (behind) => behind.map((frame, at) => (at === 2 ? (behind[1] as Uint16Array) : frame)),
      /^frame 2: /,
      1,
    ],
    [
      'one code more everywhere',
      (behind) => behind.map((frame) => frame.map((code) => Math.min(MOST, code + 1))),
      /^frame 0: /,
      FRAMES,
    ],
    [
      'another table',
      () => pictures().map((words) => through(words, wildTable(9, 6))),
      /and \d+ more samples$/,
      FRAMES,
    ],
    ['a frame too few', (behind) => behind.slice(1), /^frame 0: /, FRAMES],
    [
      'planes exchanged',
      (behind) =>
        behind.map((frame) => Uint16Array.of(...frame.subarray(count), ...frame.subarray(0, count))),
      /^frame 0: /,
      FRAMES,
    ],
  ];
  test.each(faults)('%s is found', async (_, spoil, first, listed) => {
    const verdict = await seen(pictures(), spoil(pictures().map((words) => through(words))));
    const found = faultsOf(verdict);
    expect(found[0]).toMatch(first);
    expect(found).toHaveLength(listed);
  });

  test('no picture at all is found', async () => {
    expect(faultsOf(await seen([], []))).toEqual(['0 frames compared']);
  });

  test('each square lies in the picture, wherever its pixel is taken, and small pictures are looked at whole', () => {
    for (const [wide, high] of [
      [96, 64],
      [97, 71],
      [16, 16],
      [4096, 2161],
    ] as const) {
      const { square, ...squares } = thinned({ width: wide, height: high });
      expect(square).toBe(SQUARE);
      expect(square * squares.width + square - 1).toBeLessThanOrEqual(wide);
      expect(square * squares.height + square - 1).toBeLessThanOrEqual(high);
      expect(wide - square * squares.width).toBeLessThan(2 * square);
    }
    expect(thinned({ width: 15, height: 40 })).toEqual({ width: 15, height: 40, square: 1 });
  });

  test('each of the 64 pixels of a square is taken, one in each of 64 frames', async () => {
    const whole = { width: 32, height: 32 };
    const words = new Uint16Array(3 * 32 * 32);
    // Every sample says where it lies.
    for (let at = 0; at < words.length; at += 1) words[at] = at % (32 * 32);
    const folder = freshFolder('thinned');
    const [from, to] = [join(folder, 'whole.raw'), join(folder, 'thin.raw')];
    writeFileSync(from, new Uint8Array(words.buffer));
    const { before, chains } = thinChains(clipFacts({ video: whole }), 0);
    const [chain] = chains as [string];
    await ffmpeg(
      ...[
        '-f',
        'rawvideo',
        '-pix_fmt',
        'gbrp14le',
        '-s',
        '32x32',
        '-r',
        '24',
        '-stream_loop',
        '-1',
        '-i',
        from,
      ],
      ...['-filter_complex', `[0:v]trim=end_frame=64[${before}];${chain}`, '-map', `[${before}-out]`],
      ...['-fps_mode', 'passthrough', '-f', 'rawvideo', to],
    );
    const seen = readFileSync(to);
    const { width: across, height: down } = thinned(whole);
    const places = Array.from({ length: 64 }, (_, frame) => seen.readUInt16LE(2 * 3 * across * down * frame));
    expect(new Set(places.map((at) => `${at % SQUARE} ${Math.floor(at / 32) % SQUARE}`)).size).toBe(64);
  });

  test("of recorded pictures, that no R'G'B' came is a fault of its own", async () => {
    const thin = await seen(
      pictures(),
      pictures().map((words) => through(words)),
    );
    const { faults: found } = colourWayVerdict(
      {
        from: 'recorded',
        recorded: null,
        thin,
        table: 'f'.repeat(64),
        error: { colours: 2000, most: 0.8, greatest: 1.5 },
      },
      FRAMES,
    );
    expect(found).toMatchObject([{ code: 'colour-way-differs', found: "no recorded R'G'B' came" }]);
  });
});
