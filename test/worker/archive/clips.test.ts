/** The archive form on real clips: what comes out is the clip, sample for sample, by our proof and by programs that share nothing with it. */
import { createHash } from 'node:crypto';
import { readFileSync, statSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { freshFolder, sharedFolder } from '../../support/folder.ts';
import { further } from '../../support/lane.ts';
import { type Made, makeAll } from '../../support/make.ts';
import { makeMovie } from '../../support/media.ts';
import {
  archived,
  clip,
  type ClipOptions,
  clips,
  decoded,
  fixtures,
  mediaInfo,
  pictures,
  profilesNamed,
  tagged,
  x264,
} from './support.ts';

/** `as`: the layout of all samples and nothing else, where those of clip and file differ. */
type Case = readonly [title: string, options: ClipOptions, wanted: Record<string, unknown>, as?: string];
const older = (format: string): string[] => ['-c:v', 'ffv1', '-level', '1', '-pix_fmt', format];

describe('every kind of clip comes out sample for sample', () => {
  const cases: readonly Case[] = [
    [
      '8-bit 4:2:0 that codes ahead, drop-frame at 29.97',
      {
        picture: [...x264, 'yuv420p', '-bf', '2'],
        rate: '30000/1001',
        timecode: '00:59:59;20',
        frames: 30,
      },
      {
        pixelFormat: 'yuv420p',
        fieldOrder: 'progressive',
        timecode: { frame: 107_882, base: 30, drop: true },
      },
    ],
    [
      'nothing tagged, and pixels of a shape that no whole width of the picture tells',
      { picture: [...x264, 'yuv420p'], size: '90x60', filter: 'setsar=32/27' },
      {
        colour: { primaries: null, transfer: null, matrix: null, range: null },
        pixelAspect: { num: 32, den: 27 },
        width: 90,
      },
    ],
    [
      'odd width and height',
      { picture: older('yuv420p'), filter: `scale=97:63,format=yuv420p,setsar=1,${tagged}` },
      { width: 97, height: 63, pixelFormat: 'yuv420p', exact: { comparedIn: 'yuv420p', slices: 12 } },
    ],
    ...further<Case>(
      [
        'the lower field first',
        {
          picture: ['-c:v', 'dvvideo', '-top', '0'],
          size: '720x576',
          frames: 4,
          filter: 'format=yuv420p,setsar=16/15,setfield=bff',
        },
        { fieldOrder: 'bottom-first', pixelAspect: { num: 16, den: 15 } },
      ],
      [
        '4:4:4 with alpha',
        { picture: older('yuva444p10le'), filter: 'format=yuva444p10le' },
        { pixelFormat: 'yuva444p10le' },
      ],
      [
        'RGB of 8 bits in four bytes',
        { picture: older('bgr0'), filter: 'format=bgr0' },
        { pixelFormat: 'bgr0' },
        'gbrp',
      ],
      [
        '8-bit full range under its older name, 120 frames a second',
        {
          picture: [...x264, 'yuvj420p'],
          rate: '120',
          frames: 30,
          filter: 'format=yuvj420p,setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=pc',
        },
        {
          pixelFormat: 'yuv420p',
          rate: { num: 120, den: 1 },
          colour: { primaries: 'bt709', transfer: 'bt709', matrix: 'bt709', range: 'full' },
        },
      ],
      [
        '10-bit 4:2:2',
        { picture: ['-c:v', 'prores_ks', '-profile:v', '3', '-pix_fmt', 'yuv422p10le'], rate: '24000/1001' },
        {
          pixelFormat: 'yuv422p10le',
          colour: { primaries: 'bt709', transfer: 'bt709', matrix: 'bt709', range: 'limited' },
        },
      ],
      [
        '10-bit full range',
        {
          picture: [...x264, 'yuv422p10le'],
          filter:
            'format=yuv422p10le,setparams=color_primaries=bt2020:color_trc=smpte2084:colorspace=bt2020nc:range=pc',
        },
        {
          pixelFormat: 'yuv422p10le',
          colour: { primaries: 'bt2020', transfer: 'pq', matrix: 'bt2020', range: 'full' },
        },
      ],
      [
        'RGB of 10 bits',
        { picture: ['-c:v', 'r210'], filter: 'format=gbrp10le' },
        { pixelFormat: 'gbrp10le' },
      ],
      [
        'RGB of 16 bits, packed',
        { picture: ['-c:v', 'tiff', '-pix_fmt', 'rgb48le'], filter: 'format=rgb48le' },
        { pixelFormat: 'gbrp16le' },
        'gbrp16le',
      ],
      [
        'grey of 16 bits',
        { picture: older('gray16le'), filter: 'format=gray16le' },
        { pixelFormat: 'gray16le' },
      ],
      [
        '60 frames a second less a thousandth',
        { picture: [...x264, 'yuv420p'], rate: '60000/1001', frames: 40 },
        { rate: { num: 60000, den: 1001 } },
      ],
      [
        'the upper field first',
        {
          picture: [
            '-c:v',
            'mpeg2video',
            '-flags',
            '+ildct+ilme',
            '-top',
            '1',
            '-q:v',
            '3',
            '-pix_fmt',
            'yuv422p',
          ],
          filter: `${tagged},setfield=tff`,
        },
        { fieldOrder: 'top-first', pixelFormat: 'yuv422p' },
      ],
    ),
  ];
  const folder = join(sharedFolder, 'archive-kinds');
  const sourceOf = (row: number): string => join(folder, String(row), 'B007C001.mov');
  beforeAll(async () => {
    await clips(cases.map(([, options], row) => [sourceOf(row), options]));
  });
  test.each(cases.map(([title, options, wanted, as], row) => ({ title, options, wanted, as, row })))(
    '$title',
    async ({ options, wanted, as, row }) => {
      const source = sourceOf(row);
      const { path, outcome, checked } = await archived(source, dirname(source));
      expect(checked.findings).toEqual([]);
      expect(checked.passed).toBe(true);
      expect(outcome).toMatchObject(wanted);
      expect(checked.results.find(({ check }) => check === 'lossless')?.measured).toContain(
        `${options.frames ?? 12} of ${options.frames ?? 12} pictures`,
      );
      const [kept, given] = pictures([path, source], as);
      expect(kept).toBe(given);
      expect(statSync(path).size).toBeLessThan(outcome.estimatedBytes);
    },
  );

  test('every track in its own form, as long as it is, whatever the picture', async () => {
    const folder = freshFolder('archive');
    const forms = [
      ['s16le', 1],
      ['s24le', 2],
      ['s32le', 1],
      ['f32le', 2],
      ['u8', 1],
    ] as const;
    const source = await clip(join(folder, 'B007C002.mov'), {
      picture: [...x264, 'yuv420p'],
      audioTracks: [
        ...forms.map(([form, channels]) => ['-c', `pcm_${form}`, '-ac', String(channels)]),
        ['-c', 'pcm_s16be', '-ac', '6'],
      ],
    });
    const { path, outcome, checked } = await archived(source, folder);
    expect(checked.findings).toEqual([]);
    expect(outcome.audio.map(({ codec, samples, channels }) => [codec, samples, channels])).toEqual([
      ...forms.map(([form, channels], index) => [`pcm_${form}`, 23_000 + 1000 * index, channels]),
      ['pcm_s16le', 28_000, 6],
    ]);
    const tracks = (file: string): (readonly [string, string, readonly string[]])[] =>
      [...forms, ['s16le'] as const].map(([form], index) => [file, `a:${index}`, ['-c:a', `pcm_${form}`]]);
    const digests = decoded([...tracks(path), ...tracks(source)]);
    expect(digests.slice(0, 6)).toEqual(digests.slice(6));
    expect(new Set(digests).size).toBe(6);
  });

  const smallFields = (folder: string): Promise<string> =>
    clip(join(folder, 'B007C008.mov'), {
      picture: [
        ...['-c:v', 'mpeg2video', '-flags', '+ildct+ilme', '-top', '1', '-q:v', '3', '-pix_fmt', 'yuv422p'],
      ],
      size: '256x144',
      filter: `${tagged},setfield=tff`,
    });
  test.each<readonly [string, (folder: string) => Promise<string>]>([
    ['small', smallFields],
    ...further<readonly [string, (folder: string) => Promise<string>]>([
      'of a camera',
      () => Promise.resolve(join(fixtures, 'mpeg2-1080i50.mov')),
    ]),
  ])(
    'interlaced MPEG-2, %s, keeps its fields, beside a proxy of frames that is made of the same decode',
    async (_title, sourceIn) => {
      const folder = freshFolder('archive');
      const cutting = join(folder, 'frames.yaml');
      writeFileSync(
        cutting,
        'version: 1\nname: frames\nsummary: Frames of fields\nextends: editorial-vc3\ninterlaced: deinterlace\ntimecode: { missing: zero }\n',
      );
      const own = join(folder, 'shelf.yaml');
      writeFileSync(
        own,
        'version: 1\nname: shelf\nsummary: For the shelf\nextends: archive-ffv1\ntimecode: { missing: zero }\n',
      );
      const source = await sourceIn(folder);
      const [proxy, kept] = (await makeAll(source, await profilesNamed(cutting, own), folder)) as [
        Made,
        Made,
      ];
      expect([proxy.checked.findings, kept.checked.findings]).toEqual([[], []]);
      expect(kept.outcome).toMatchObject({ fieldOrder: 'top-first' });
      const [ours, theirs] = pictures([kept.path, source]);
      expect(ours).toBe(theirs);
      expect(mediaInfo(kept.path, 'Video')).toMatchObject({ ScanType: 'Interlaced', ScanOrder: 'TFF' });
    },
  );
});

test('the bytes do not depend on the number of threads', async () => {
  const folder = freshFolder('archive');
  const source = await clip(join(folder, 'B007C004.mov'), {
    size: '320x180',
    picture: [...x264, 'yuv420p'],
    audioTracks: [['-c', 'pcm_s16le']],
  });
  const profiles = await profilesNamed('archive-ffv1');
  const digests: string[] = [];
  for (const threads of [1, ...further(2), 5]) {
    const [made] = await makeAll(source, profiles, join(folder, String(threads)), threads);
    digests.push(
      createHash('sha256')
        .update(readFileSync(made?.path ?? ''))
        .digest('hex'),
    );
  }
  expect(new Set(digests).size).toBe(1);
});

describe('what the form has no place for is held, and said', () => {
  test.each<[title: string, make: (path: string) => Promise<string>, found: string, expected: string]>([
    [
      'RGB in three bytes',
      (path) => clip(path, { picture: ['-c:v', 'qtrle', '-pix_fmt', 'rgb24'], filter: 'format=rgb24' }),
      'pixel format rgb24',
      'gbrp10le',
    ],
    [
      'floating point',
      (path) => clip(path, { picture: ['-c:v', 'exr', '-pix_fmt', 'gbrpf32le'], filter: 'format=gbrpf32le' }),
      'pixel format gbrpf32le',
      'gbrp16le',
    ],
    [
      'compressed audio',
      (path) => makeMovie(path, { codec: 'h264', extra: ['-c:a', 'aac'] }),
      'track 1: aac',
      'pcm_s24le',
    ],
  ])('%s', async (_title, make, found, expected) => {
    const folder = freshFolder('held');
    const source = await make(join(folder, 'B007C006.mov'));
    const held = await archived(source, folder).then(
      () => '[]',
      (error: Error) => error.message,
    );
    const findings = JSON.parse(held) as { code: string; found: string; expected: string }[];
    expect(
      findings.find((item) => item.code === 'not-representable' && item.found === found)?.expected,
    ).toContain(expected);
  });

  test('a picture that is to be turned', async () => {
    const folder = freshFolder('held');
    await expect(archived(join(fixtures, 'rotated-90.mov'), folder)).rejects.toThrow(
      'a picture to be turned by 90 degrees',
    );
  });
});
