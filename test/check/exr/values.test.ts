/** The reader on files that OpenImageIO (through OpenEXR's library) and ffmpeg wrote. */
import { open, readFile, writeFile } from 'node:fs/promises';
import { join, resolve } from 'node:path';
import { describe, expect, test } from 'vitest';
import { attributeValue } from '../../../check/master/exr/attributes.ts';
import { ExrForeign } from '../../../check/master/exr/damage.ts';
import { roundToHalf } from '../../../check/master/exr/half.ts';
import { decodeAll, decodeHalves, surveyValues } from '../../../check/master/exr/values.ts';
import { sourceOfBytes, sourceOfFile } from '../../../check/master/exr/source.ts';
import { walkExr } from '../../../check/master/exr/chunks.ts';
import { freshFolder } from '../../support/folder.ts';
import { outputOf } from '../../support/pictures.ts';
import { encoded, grainy } from '../../formats/exr/encoded.ts';

const [WIDTH, HEIGHT] = [62, 50];

/** A picture of ours, 32-bit values rounded to halves, as oiiotool writes it on. */
async function written(...args: string[]): Promise<string> {
  const folder = freshFolder();
  await writeFile(
    join(folder, 'a.exr'),
    (
      await encoded(
        { width: WIDTH, height: HEIGHT, compression: 'none', container: 'exr' },
        grainy(WIDTH, HEIGHT),
      )
    ).bytes,
  );
  await outputOf('oiiotool', [join(folder, 'a.exr'), ...args, '-o', join(folder, 'b.exr')]);
  return join(folder, 'b.exr');
}
const picture = grainy(WIDTH, HEIGHT);
const rounded = (plane: Float32Array): Float32Array => plane.map(roundToHalf);

describe.each(['half', 'float'])('%s values', (type) => {
  test.each(['none', 'rle', 'zips', 'zip', 'piz'])('compression %s: the same values', async (compression) => {
    const bytes = await readFile(await written('-d', type, '--compression', compression));
    const source = sourceOfBytes(bytes);
    const { header } = await walkExr(source);
    expect([header.compression, header.channels[0]?.kind]).toEqual([compression, type]);
    const planes = await decodeAll(source);
    expect([planes.get('R'), planes.get('G'), planes.get('B')]).toEqual([
      rounded(picture.r),
      rounded(picture.g),
      rounded(picture.b),
    ]);
  });
});

test('whole numbers are read as such', async () => {
  const bytes = await readFile(await written('-d', 'uint32', '--compression', 'zip'));
  const planes = await decodeAll(sourceOfBytes(bytes));
  const { header } = await walkExr(sourceOfBytes(bytes));
  expect(header.channels.map(({ kind }) => kind)).toEqual(['uint', 'uint', 'uint']);
  const wanted = rounded(picture.g).map((value) => Math.min(Math.max(value, 0), 1) * 4_294_967_295);
  expect(
    (planes.get('G') as Float32Array).every(
      (value, index) => Math.abs(value - (wanted[index] as number)) <= 2 ** 10,
    ),
  ).toBe(true);
});

test.each(['none', 'rle', 'zip1', 'zip16'])('ffmpeg, %s: the same values', async (compression) => {
  const folder = freshFolder();
  const file = join(folder, 'a.exr');
  const [ours] = [
    (await encoded({ width: WIDTH, height: HEIGHT, compression: 'none', container: 'exr' }, picture)).bytes,
  ];
  await writeFile(join(folder, 'ours.exr'), ours);
  await outputOf('ffmpeg', [
    '-v',
    'error',
    '-i',
    join(folder, 'ours.exr'),
    '-vf',
    'setsar=1',
    '-c:v',
    'exr',
    '-format',
    'half',
    '-compression',
    compression,
    file,
  ]);
  const planes = await decodeAll(sourceOfBytes(await readFile(file)));
  expect(planes.get('R')).toEqual(rounded(picture.r));
});

test('lines from below come out from above', async () => {
  const bytes = await readFile(
    await written('--attrib', 'openexr:lineOrder', 'decreasingY', '--compression', 'zips'),
  );
  const source = sourceOfBytes(bytes);
  expect((await walkExr(source)).header.lineOrder).toBe('decreasing-y');
  expect((await decodeAll(source)).get('R')).toEqual(rounded(picture.r));
});

test('a data window with its own corner and other channels beside are no hindrance', async () => {
  const file = await written('--ch', 'R,G,B,A=0.25', '--origin', '+7-9', '--compression', 'zip');
  const source = sourceOfBytes(await readFile(file));
  const walked = await walkExr(source);
  expect(walked.header.dataWindow).toEqual({ xMin: 7, yMin: -9, xMax: 68, yMax: 40 });
  expect(walked.header.channels.map(({ name }) => name)).toEqual(['A', 'B', 'G', 'R']);
  const planes = await decodeAll(source, walked);
  expect(planes.get('B')).toEqual(rounded(picture.b));
  expect(new Set(planes.get('A'))).toEqual(new Set([0.25]));
});

test('single values are those of the whole picture, from a file that is read by pieces', async () => {
  const file = await written('--compression', 'zip');
  const handle = await open(file, 'r');
  try {
    const source = await sourceOfFile(handle);
    const points = [
      { x: 0, y: 0 },
      { x: 61, y: 49 },
      { x: 5, y: 16 },
      { x: 6, y: 15 },
      { x: 5, y: 16 },
    ];
    const at = ({ x, y }: { x: number; y: number }): number[] =>
      [picture.b, picture.r].map((plane) => roundToHalf(plane[y * WIDTH + x] as number));
    expect((await surveyValues(source, { points, names: ['B', 'R'] })).values).toEqual(
      Float32Array.from(points.flatMap(at)),
    );
    await expect(surveyValues(source, { points: [{ x: 62, y: 0 }], names: ['R'] })).rejects.toThrow(
      'no pixel (62, 0) in 62x50',
    );
    await expect(surveyValues(source, { points: [{ x: 0, y: 0 }], names: ['Z'] })).rejects.toThrow(
      'no channel Z',
    );
  } finally {
    await handle.close();
  }
});

test('values of a chunk that is damaged are not had, and it is named', async () => {
  const bytes = (
    await encoded({ width: WIDTH, height: HEIGHT, compression: 'zip', container: 'exr' }, picture)
  ).bytes;
  const walked = await walkExr(sourceOfBytes(bytes));
  const { chunks } = walked;
  const [, { at, bytes: size }] = chunks as [(typeof chunks)[number], (typeof chunks)[number]];
  bytes.fill(0, at, at + size);
  // The walk reads heads alone, and finds what it found before; who wants values finds out.
  expect(await walkExr(sourceOfBytes(bytes))).toEqual(walked);
  await expect(surveyValues(sourceOfBytes(bytes))).rejects.toThrow('the chunk of line 16');
});

describe('survey of all values', () => {
  test.each(['none', 'zip'] as const)('%s: least and greatest of each channel', async (compression) => {
    const { bytes } = await encoded({ width: WIDTH, height: HEIGHT, compression, container: 'exr' }, picture);
    const wanted = (['B', 'G', 'R'] as const).map((name) => {
      const plane = rounded(picture[name.toLowerCase() as 'r' | 'g' | 'b']);
      return { name, least: Math.min(...plane), greatest: Math.max(...plane), notFinite: 0 };
    });
    expect(wanted[0]?.least).toBeLessThan(0);
    expect((await surveyValues(sourceOfBytes(bytes))).channels).toEqual(wanted);
  });

  test('infinities and no numbers are found where somebody put them', async () => {
    const { bytes } = await encoded(
      { width: 4, height: 3, compression: 'none', container: 'exr' },
      grainy(4, 3),
    );
    const { chunks } = await walkExr(sourceOfBytes(bytes));
    const line = chunks[1]?.at as number;
    // Line 1: two of G, one of R.
    for (const [place, half] of [
      [4, 0x7c00],
      [7, 0xfc00],
      [8, 0x7e01],
    ] as const)
      bytes.writeUInt16LE(half, line + 2 * place);
    const survey = (await surveyValues(sourceOfBytes(bytes))).channels;
    expect(survey.map(({ name, notFinite }) => `${name} ${notFinite}`)).toEqual(['B 0', 'G 2', 'R 1']);
    expect(survey.every(({ least, greatest }) => Number.isFinite(least) && Number.isFinite(greatest))).toBe(
      true,
    );
  });

  test('a channel without one finite value has neither least nor greatest', async () => {
    const { bytes } = await encoded(
      { width: 1, height: 1, compression: 'none', container: 'exr' },
      grainy(1, 1),
    );
    const { chunks } = await walkExr(sourceOfBytes(bytes));
    bytes.writeUInt16LE(0x7c01, chunks[0]?.at as number);
    expect((await surveyValues(sourceOfBytes(bytes))).channels[0]).toEqual({
      name: 'B',
      least: null,
      greatest: null,
      notFinite: 1,
    });
  });
});

test.each([
  ['tiles', ['--tile', '32', '32'], 'tiles'],
  ['fewer places', ['--mulc', '0', '--compression', 'pxr24'], 'compression pxr24'],
])('%s are another form than this reader takes, not damage', async (_name, args, words) => {
  const source = sourceOfBytes(await readFile(await written(...args)));
  await expect(decodeAll(source)).rejects.toThrow(ExrForeign);
  await expect(decodeAll(source)).rejects.toThrow(words);
});

test('floats are not surveyed as halves', async () => {
  const source = sourceOfBytes(await readFile(await written('-d', 'float')));
  await expect(surveyValues(source)).rejects.toThrow('channel B of float values');
  await expect(decodeHalves(source)).rejects.toThrow(ExrForeign);
});

test('a real file of others, timecode and rate and all (SOURCES.md)', async () => {
  const source = sourceOfBytes(await readFile(resolve('test/fixtures/exr/aces-timecode-64x64.exr')));
  const { header } = await walkExr(source);
  // As exrheader prints them.
  expect(attributeValue(header.attributes, 'timeCode', 'timecode')).toEqual([0x01181906, 0xffffffff]);
  expect(attributeValue(header.attributes, 'framesPerSecond', 'rational')).toEqual({
    num: 24_000,
    den: 1000,
  });
  expect(attributeValue(header.attributes, 'isoSpeed', 'float')).toBe(800);
  expect(attributeValue(header.attributes, 'adoptedNeutral', 'v2f')).toEqual(
    [0.32168, 0.33767].map(Math.fround),
  );
  // As `oiiotool --stats` prints them.
  const stats = String(
    await outputOf('oiiotool', ['--stats', resolve('test/fixtures/exr/aces-timecode-64x64.exr')]),
  );
  const theirs = (name: string): number[] =>
    (new RegExp(`Stats ${name}: ([-0-9. ]+) \\(`).exec(stats)?.[1] ?? '').trim().split(' ').map(Number);
  const ours = (await surveyValues(source)).channels.toReversed();
  expect(ours.map(({ least }) => Number(least?.toFixed(6)))).toEqual(theirs('Min'));
  expect(ours.map(({ greatest }) => Number(greatest?.toFixed(6)))).toEqual(theirs('Max'));
});
