/** The recipe's command on real clips: pixels of every kind, and fields. */
import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { freshFolder, sharedFolder } from '../../support/folder.ts';
import { further } from '../../support/lane.ts';
import { factsOf, makeAll } from '../../support/make.ts';
import { ffmpeg } from '../../support/media.ts';
import { byTurns, recipeProfiles } from './support.ts';

const { vc3, rdd36, review } = await recipeProfiles();

describe('pictures of every kind go in without a conversion that nobody asked for', () => {
  const kinds: readonly (readonly [title: string, codec: readonly string[]])[] = [
    ['10-bit packed 4:2:2', ['-c:v', 'v210', '-pix_fmt', 'yuv422p10le']],
    ['12-bit 4:4:4 with alpha', ['-c:v', 'prores_ks', '-profile:v', '4', '-pix_fmt', 'yuva444p10le']],
    ['RGB 16 bit', ['-c:v', 'png', '-pix_fmt', 'rgb48be']],
    [
      '10-bit 4:2:0',
      ['-c:v', 'libx265', '-pix_fmt', 'yuv420p10le', '-x265-params', 'log-level=none', '-tag:v', 'hvc1'],
    ],
    ['full-range JPEG', ['-c:v', 'mjpeg', '-pix_fmt', 'yuvj422p', '-q:v', '3']],
    ['grey', ['-c:v', 'png', '-pix_fmt', 'gray']],
    ...further<readonly [string, readonly string[]]>([
      '8-bit packed 4:2:2',
      ['-c:v', 'rawvideo', '-pix_fmt', 'uyvy422'],
    ]),
  ];
  const sources = join(sharedFolder, 'recipe-kinds');
  const sourceOf = (row: number): string => join(sources, String(row), 'clip.mov');
  beforeAll(async () => {
    for (const row of kinds.keys()) mkdirSync(join(sources, String(row)), { recursive: true });
    await ffmpeg(
      ...['-f', 'lavfi', '-i', 'testsrc2=s=320x180:r=24'],
      ...kinds.flatMap(([, codec], row) => [
        ...['-map', '0:v', '-frames:v', '4', ...codec],
        ...['-timecode', '01:00:00:00', sourceOf(row)],
      ]),
    );
  });
  test.each(kinds.map(([title], row) => [title, row] as const))('%s', async (_title, row) => {
    const [source, folder] = [sourceOf(row), freshFolder('kinds')];
    // Into eight bits, into ten, into 4:2:0.
    for (const { checked } of await makeAll(source, byTurns([vc3, rdd36, review], row), folder)) {
      expect(checked.findings).toEqual([]);
      expect(checked.facts?.video.frames).toBe(4);
    }
  });

  test.each<readonly [number, string, string, readonly string[]]>([
    [
      1,
      'bottom field first',
      'bff',
      ['-c:v', 'prores_ks', '-profile:v', '2', '-flags', '+ildct', '-top', '0', '-pix_fmt', 'yuv422p10le'],
    ],
    ...further<readonly [number, string, string, readonly string[]]>(
      [
        0,
        'top field first',
        'tff',
        ['-c:v', 'prores_ks', '-profile:v', '2', '-flags', '+ildct', '-top', '1', '-pix_fmt', 'yuv422p10le'],
      ],
      [
        2,
        'packed, top field first',
        'tff',
        ['-c:v', 'rawvideo', '-pix_fmt', 'uyvy422', '-field_order', 'tt'],
      ],
    ),
  ])('interlaced, $1: one progressive frame of each frame', async (row, _title, order, codec) => {
    const folder = freshFolder('fields');
    const source = join(folder, 'clip.mov');
    await ffmpeg(
      '-f',
      'lavfi',
      '-i',
      'testsrc2=s=320x180:r=50',
      '-vf',
      `interlace=scan=${order},setfield=${order}`,
      '-frames:v',
      '12',
      ...codec,
      '-timecode',
      '01:00:00:00',
      source,
    );
    expect((await factsOf(source)).video.fieldOrder).toBe(order === 'tff' ? 'top-first' : 'bottom-first');
    for (const { checked, outcome } of await makeAll(
      source,
      byTurns([{ ...vc3, interlaced: 'deinterlace' }, review], row),
      folder,
    )) {
      expect(outcome.frames).toBe(12);
      expect(checked.findings).toEqual([]);
    }
  });
});
