/** The recipe's command on real clips: colours and levels. */
import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import type { Profile } from '../../../profiles/schema.ts';
import { freshFolder, sharedFolder } from '../../support/folder.ts';
import { further } from '../../support/lane.ts';
import { makeAll } from '../../support/make.ts';
import { ffmpeg } from '../../support/media.ts';
import { lossless, planes, recipeProfiles, tags } from './support.ts';

const { vc3 } = await recipeProfiles();

/** Luma and chroma in the middle of an 8-bit 4:2:2 frame. */
async function middle(path: string, width: number, height: number): Promise<[number, number, number]> {
  const [frame] = (await planes(path, width * height * 2)) as [Buffer];
  const at = Math.floor(height / 2);
  const luma = at * width + Math.floor(width / 2);
  const chroma = width * height + at * (width / 2) + Math.floor(width / 4);
  return [frame[luma], frame[chroma], frame[chroma + (width * height) / 2]] as [number, number, number];
}
const lavfi = (colour: string, rate = '24'): string[] => [
  '-f',
  'lavfi',
  '-i',
  `color=c=${colour}:s=320x180:r=${rate}`,
];
/** A flat picture of exactly these code values (8 bits), stored without loss. */
const flat = (y: number, u: number, v: number): string[] => [
  '-f',
  'lavfi',
  '-i',
  `color=s=320x180:r=24,format=yuv420p,geq=lum=${y}:cb=${u}:cr=${v}`,
];
type Yuv = readonly [number, number, number];
type ColourRow = readonly [
  title: string,
  values: Yuv,
  tagged: readonly [primaries: string, transfer: string, matrix: string, range: string],
  matrix: Profile['colour']['matrix'],
  expected: Yuv,
];

describe('colour and levels, by code values of ITU-R BT.601, BT.709 and BT.2020 red and grey (H.273 formulas)', () => {
  const rows: readonly ColourRow[] = [
    [
      'BT.601 red becomes BT.709 red',
      [81, 90, 240],
      ['bt709', 'bt709', 'smpte170m', 'tv'],
      'bt709',
      [63, 102, 240],
    ],
    [
      'BT.2020 red stays',
      [74, 97, 240],
      ['bt2020', 'arib-std-b67', 'bt2020nc', 'tv'],
      'source',
      [74, 97, 240],
    ],
    // (128 - 0) / 255 of full range is 16 + 219 x 128 / 255 = 125.9 of limited range.
    [
      'full-range grey 128 becomes limited 126',
      [128, 128, 128],
      ['bt709', 'bt709', 'bt709', 'pc'],
      'source',
      [126, 128, 128],
    ],
    ...further<ColourRow>(
      [
        'BT.709 red becomes BT.601 red',
        [63, 102, 240],
        ['bt709', 'bt709', 'bt709', 'tv'],
        'bt601',
        [81, 90, 240],
      ],
      [
        'BT.709 limited red stays',
        [63, 102, 240],
        ['bt709', 'bt709', 'bt709', 'tv'],
        'source',
        [63, 102, 240],
      ],
      [
        'BT.601 red kept with its matrix',
        [81, 90, 240],
        ['smpte170m', 'smpte170m', 'smpte170m', 'tv'],
        'source',
        [81, 90, 240],
      ],
      [
        'full-range white 255 becomes limited 235',
        [255, 128, 128],
        ['bt709', 'bt709', 'bt709', 'pc'],
        'source',
        [235, 128, 128],
      ],
      [
        'full-range black 0 becomes limited 16',
        [0, 128, 128],
        ['bt709', 'bt709', 'bt709', 'pc'],
        'source',
        [16, 128, 128],
      ],
      [
        'limited grey 126 stays',
        [126, 128, 128],
        ['bt709', 'bt709', 'bt709', 'tv'],
        'source',
        [126, 128, 128],
      ],
    ),
  ];
  const sources = join(sharedFolder, 'recipe-colours');
  const sourceOf = (row: number): string => join(sources, String(row), 'clip.mov');
  beforeAll(async () => {
    for (const row of rows.keys()) mkdirSync(join(sources, String(row)), { recursive: true });
    await ffmpeg(
      ...rows.flatMap(([, values]) => flat(...values)),
      ...rows.flatMap(([, , tagged], row) => [
        ...['-map', `${row}:v`, '-vf', tags(...tagged)],
        ...[...lossless, sourceOf(row)],
      ]),
    );
  });
  test.each(rows.map(([title, , , wanted, expected], row) => [title, row, wanted, expected] as const))(
    '%s',
    async (_title, row, wanted, expected) => {
      const [source, folder] = [sourceOf(row), freshFolder('colour')];
      const [made] = await makeAll(source, [{ ...vc3, colour: { ...vc3.colour, matrix: wanted } }], folder);
      expect(made?.checked.findings).toEqual([]);
      const found = await middle(made?.path ?? '', 320, 180);
      for (const [index, value] of expected.entries())
        expect(Math.abs((found[index] as number) - value), `${found}`).toBeLessThanOrEqual(1);
    },
  );

  test('an untagged picture keeps its code values and is tagged BT.709', async () => {
    const folder = freshFolder('untagged');
    const source = join(folder, 'clip.mov');
    await ffmpeg(...flat(63, 102, 240), ...lossless, source);
    const [made] = await makeAll(source, [vc3], folder);
    expect(made?.checked.findings).toEqual([]);
    expect(made?.checked.facts?.video.colour).toEqual({
      primaries: 'bt709',
      transfer: 'bt709',
      matrix: 'bt709',
      range: 'limited',
    });
    const found = await middle(made?.path ?? '', 320, 180);
    for (const [index, value] of [63, 102, 240].entries())
      expect(Math.abs((found[index] as number) - value)).toBeLessThanOrEqual(1);
  });

  test('RGB red becomes limited BT.709 red at any size', async () => {
    const folder = freshFolder('rgb');
    const source = join(folder, 'clip.mov');
    await ffmpeg(
      ...lavfi('red'),
      '-vf',
      'format=rgb24',
      '-c:v',
      'png',
      '-frames:v',
      '3',
      '-timecode',
      '01:00:00:00',
      source,
    );
    const [made] = await makeAll(source, [vc3], folder);
    expect(made?.checked.findings).toEqual([]);
    const found = await middle(made?.path ?? '', 320, 180);
    for (const [index, value] of [63, 102, 240].entries())
      expect(Math.abs((found[index] as number) - value), `${found}`).toBeLessThanOrEqual(1);
  });
});
