/** The walk through a file of boxes: damage is damage wherever it lies, and nothing that a file claims costs more than the file is long. */
import { mkdirSync, readFileSync, truncateSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import fc from 'fast-check';
import { beforeAll, describe, expect, test } from 'vitest';
import { judgeMovie } from '../../../check/movie/judge.ts';
import { MovieError, readMovie, timecodeTracks } from '../../../check/movie/read.ts';
import { FileDamage } from '../../../files/bytes.ts';
import { freshFolder, sharedFolder } from '../../support/folder.ts';
import { factsOf } from '../../support/make.ts';
import { makeMovie } from '../../support/media.ts';
import { box, MovieEditor, words } from '../../support/movie-editor.ts';
import { outcome } from '../../support/world.ts';

const folder = join(sharedFolder, `walk-${process.pid}`);
let whole: Buffer;
beforeAll(async () => {
  mkdirSync(folder, { recursive: true });
  whole = readFileSync(
    await makeMovie(join(folder, 'a.mov'), { frames: 3, size: '64x48', audio: [2], codec: 'h264' }),
  );
});

async function read(bytes: Buffer): Promise<unknown> {
  const path = join(folder, 'case.mov');
  writeFileSync(path, bytes);
  try {
    return await readMovie(path, { pictures: 3 });
  } catch (error) {
    if (error instanceof FileDamage) return error;
    throw error;
  }
}

test('it reads what ffprobe reads of a timecode track', async () => {
  const path = resolve('test/fixtures/movies/timecode-only-23976.mov');
  const [track] = timecodeTracks(await readMovie(path));
  expect(track).toMatchObject({
    base: 24,
    timeScale: 24_000,
    frameDuration: 1001,
    drop: false,
    counter: false,
  });
});

test('a file that is cut off at any byte is damaged, and nothing else', async () => {
  for (let end = 0; end < whole.length; end += end < 200 || end > whole.length - 4000 ? 7 : 997)
    expect(await read(whole.subarray(0, end)), `cut at ${end}`).toBeInstanceOf(MovieError);
});

test('a byte of another value, or several, are damage or another file, and never another exception', async () => {
  const index = whole.indexOf('moov') - 4;
  await fc.assert(
    fc.asyncProperty(
      fc.array(
        fc.tuple(fc.integer({ min: index, max: whole.length - 1 }), fc.integer({ min: 0, max: 255 })),
        { minLength: 1, maxLength: 4 },
      ),
      async (changes) => {
        const bytes = Buffer.from(whole);
        for (const [at, value] of changes) bytes[at] = value;
        await read(bytes);
      },
    ),
    { numRuns: 400 },
  );
});

describe('claims', () => {
  const small = (...boxes: readonly Buffer[]): Buffer =>
    Buffer.concat([box('ftyp', Buffer.from('qt  \0\0\x02\0qt  ', 'latin1')), ...boxes]);
  const table = (type: string, bytes: Buffer): Buffer =>
    small(
      box(
        'moov',
        box(
          'trak',
          box(
            'mdia',
            box('hdlr', Buffer.alloc(8), Buffer.from('vide'), Buffer.alloc(12)),
            box(
              'minf',
              box(
                'stbl',
                ...['stts', 'stsc', 'stsz', 'stco'].map((name) =>
                  box(name, name === type ? bytes : Buffer.alloc(name === 'stsz' ? 12 : 8)),
                ),
              ),
            ),
          ),
        ),
      ),
    );

  test.each([
    ['stts', words(0, 0x7fffffff)],
    ['stsc', words(0, 2, 1, 1, 1)],
    ['stsz', words(0, 0, 0x7fffffff)],
    ['stco', words(0, 1000, 8)],
  ])('a table %s of more entries than it has bytes', async (type, bytes) => {
    expect(await read(table(type, bytes))).toBeInstanceOf(MovieError);
  });

  test('four thousand million samples of one size, in one chunk, cost nothing', async () => {
    const begun = process.memoryUsage().rss;
    const bytes = small(
      box(
        'moov',
        box(
          'trak',
          box(
            'mdia',
            box('hdlr', Buffer.alloc(8), Buffer.from('vide'), Buffer.alloc(12)),
            box(
              'minf',
              box(
                'stbl',
                box('stts', words(0, 1, -1, 1)),
                box('stsc', words(0, 1, 1, -1, 1)),
                box('stsz', words(0, 1, -1)),
                box('stco', words(0, 1, 40)),
              ),
            ),
          ),
        ),
      ),
    );
    expect(await read(bytes)).toMatchObject({ tracks: [{ samples: { timed: 2 ** 32 - 1 } }] });
    expect(process.memoryUsage().rss - begun).toBeLessThan(64 * 1024 * 1024);
  });

  test('sixteen megabytes of the smallest boxes are given up after a few thousand', async () => {
    const begun = process.cpuUsage();
    expect(await read(small(box('moov', Buffer.alloc(16 * 1024 * 1024, box('free')))))).toBeInstanceOf(
      MovieError,
    );
    expect(await read(small(Buffer.alloc(16 * 1024 * 1024, box('free'))))).toBeInstanceOf(MovieError);
    const { user, system } = process.cpuUsage(begun);
    expect((user + system) / 1e6).toBeLessThan(5);
  });

  test('media data of two hundred gigabytes, places in 64 bits, and not a byte of them read', async () => {
    const path = join(freshFolder('large'), 'a.mov');
    const size = 200 * 1024 ** 3;
    const head = Buffer.alloc(16);
    head.writeUInt32BE(1);
    head.write('mdat', 4, 'latin1');
    head.writeBigUInt64BE(BigInt(size), 8);
    const chunk = Buffer.alloc(16);
    chunk.writeUInt32BE(1, 4);
    chunk.writeBigUInt64BE(BigInt(size - 100), 8);
    const index = new MovieEditor(whole);
    index.remove('moov/trak[2]').remove('moov/trak[2]');
    for (const [name, bytes] of [
      ['stsc', words(0, 1, 1, 3, 1)],
      ['stsz', words(0, 40, 3)],
    ] as const)
      index.replaceContent(`moov/trak[1]/mdia/minf/stbl/${name}`, bytes);
    index
      .remove('moov/trak[1]/mdia/minf/stbl/stco')
      .insert('moov/trak[1]/mdia/minf/stbl', box('co64', chunk));
    const bytes = index.bytes();
    const type = bytes.subarray(0, bytes.indexOf('ftyp') - 4 + bytes.readUInt32BE(bytes.indexOf('ftyp') - 4));
    writeFileSync(path, Buffer.concat([type, head]));
    truncateSync(path, type.length + size);
    writeFileSync(path, bytes.subarray(bytes.indexOf('moov') - 4), { flag: 'a' });
    const begun = Date.now();
    const movie = await readMovie(path);
    expect(Date.now() - begun).toBeLessThan(5000);
    expect(movie.tracks[0]?.samples?.chunks.from[0]).toBe(size - 100);
  });
});

test.each([
  'test/fixtures/movies/hevc-10bit.mp4',
  'test/fixtures/movies/interlaced-2997-timecode.mov',
  'test/fixtures/movies/mpeg2-1080i50.mov',
  'test/fixtures/movies/rdd36-proxy.mov',
  'test/fixtures/movies/rotated-90.mov',
])('a movie of others, %s, is walked through, and is no deliverable of ours', async (path) => {
  const facts = await factsOf(path);
  const movie = await readMovie(path);
  expect(movie.tracks.length).toBeGreaterThan(0);
  const { faults } = judgeMovie(
    movie,
    {
      ...outcome,
      frames: facts.video.frames,
      rate: facts.video.rate,
      width: facts.video.width,
      height: facts.video.height,
      pixelFormat: facts.video.pixelFormat,
      colour: facts.video.colour,
      container: path.endsWith('mp4') ? 'mp4' : 'mov',
      codec: facts.video.codec,
      codecTag: facts.video.codecTag,
      codecProfile: facts.video.profile,
      timecode: facts.timecode,
      reel: facts.reel,
    },
    facts,
  );
  expect(faults.length).toBeGreaterThan(0);
});

test('a chunk that lies outside of the file is damage or a fault, and not a crash', async () => {
  const path = resolve('test/fixtures/damaged/mp4parse_chunk_out_of_range.mp4');
  await expect(readMovie(path).catch((error: unknown) => error)).resolves.toSatisfy(
    (value) =>
      value instanceof MovieError || (typeof value === 'object' && value !== null && 'tracks' in value),
  );
});
