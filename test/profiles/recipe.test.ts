/** The recipe's command on real clips: pixels, levels, times, audio and text of what it makes. */
import { createHash } from 'node:crypto';
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { execFileSync } from 'node:child_process';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { runForOutput } from '../../process/run.ts';
import { builtInProfiles } from '../../profiles/load.ts';
import { outcomeOf } from '../../profiles/outcome/decide.ts';
import { recipeOf } from '../../profiles/recipe/index.ts';
import type { Profile } from '../../profiles/schema.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { everyRow, further } from '../support/lane.ts';
import { factsOf, makeAll } from '../support/make.ts';
import { drained, ffmpeg, makeMovie } from '../support/media.ts';

const asShot: Profile['raster'] = {
  policy: 'native',
  width: null,
  height: null,
  multiple_of: 2,
  enlarge: false,
};
let vc3: Profile;
let rdd36: Profile;
let review: Profile;
beforeAll(async () => {
  [vc3, rdd36, review] = (await builtInProfiles()).map((item) => ({ ...item.profile, raster: asShot })) as [
    Profile,
    Profile,
    Profile,
  ];
});

/** Frames as decoded, in the file's own pixel format: nothing is converted. */
async function planes(path: string, bytesPerFrame: number): Promise<Buffer[]> {
  const run = await runForOutput('ffmpeg', [
    '-v',
    'error',
    '-noautorotate',
    '-i',
    path,
    '-map',
    '0:v:0',
    '-fps_mode',
    'passthrough',
    '-f',
    'rawvideo',
    '-',
  ]);
  expect(run.stderr).toBe('');
  return Array.from({ length: run.stdout.length / bytesPerFrame }, (_, index) =>
    run.stdout.subarray(index * bytesPerFrame, (index + 1) * bytesPerFrame),
  );
}
/** Luma and chroma in the middle of an 8-bit 4:2:2 frame. */
async function middle(path: string, width: number, height: number): Promise<[number, number, number]> {
  const [frame] = (await planes(path, width * height * 2)) as [Buffer];
  const at = Math.floor(height / 2);
  const luma = at * width + Math.floor(width / 2);
  const chroma = width * height + at * (width / 2) + Math.floor(width / 4);
  return [frame[luma], frame[chroma], frame[chroma + (width * height) / 2]] as [number, number, number];
}
async function samples(path: string, track: number): Promise<Int32Array> {
  const run = await runForOutput('ffmpeg', [
    '-v',
    'error',
    '-i',
    path,
    '-map',
    `0:a:${track}`,
    '-f',
    's32le',
    '-c:a',
    'pcm_s32le',
    '-',
  ]);
  return new Int32Array(
    run.stdout.buffer.slice(run.stdout.byteOffset, run.stdout.byteOffset + run.stdout.length),
  );
}
async function packetDigest(path: string): Promise<string> {
  const run = await runForOutput('ffmpeg', [
    '-v',
    'error',
    '-i',
    path,
    '-map',
    '0:v',
    '-map',
    '0:a?',
    '-c',
    'copy',
    '-f',
    'framemd5',
    '-',
  ]);
  return createHash('sha256').update(run.stdout).digest('hex');
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
const tags = (primaries: string, transfer: string, matrix: string, range: string): string =>
  `setparams=color_primaries=${primaries}:color_trc=${transfer}:colorspace=${matrix}:range=${range}`;
const lossless = [
  '-c:v',
  'libx264',
  '-qp',
  '0',
  '-preset',
  'ultrafast',
  '-frames:v',
  '3',
  '-timecode',
  '01:00:00:00',
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
    ['BT.709 limited red stays', [63, 102, 240], ['bt709', 'bt709', 'bt709', 'tv'], 'source', [63, 102, 240]],
    [
      'BT.601 red becomes BT.709 red',
      [81, 90, 240],
      ['bt709', 'bt709', 'smpte170m', 'tv'],
      'bt709',
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
      'BT.709 red becomes BT.601 red',
      [63, 102, 240],
      ['bt709', 'bt709', 'bt709', 'tv'],
      'bt601',
      [81, 90, 240],
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
    [
      'full-range white 255 becomes limited 235',
      [255, 128, 128],
      ['bt709', 'bt709', 'bt709', 'pc'],
      'source',
      [235, 128, 128],
    ],
    ...further<ColourRow>(
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

describe('times', () => {
  test.each([
    [
      'a time base that cannot express the rate (600 ticks a second at 23.976)',
      ['-video_track_timescale', '600'],
    ],
    ['pictures in another order than they are shown in', ['-bf', '3']],
  ])('%s: every frame once, evenly', async (_title, extra) => {
    const folder = freshFolder('times');
    const source = await makeMovie(join(folder, 'clip.mov'), {
      codec: 'h264',
      rate: '24000/1001',
      frames: 25,
      extra,
    });
    for (const { checked } of await makeAll(source, [vc3, review], folder)) {
      expect(checked.findings).toEqual([]);
      expect(checked.facts?.video).toMatchObject({
        frames: 25,
        rate: { num: 24000, den: 1001 },
        firstTime: 0,
        endTime: 25 * 1001,
      });
    }
  });

  test('a picture that starts after 0 in its file starts at 0 in the deliverable', async () => {
    const folder = freshFolder('late');
    const plain = await makeMovie(join(folder, 'plain.mov'), { frames: 12, rate: '25', audio: [] });
    const source = join(folder, 'clip.mov');
    await ffmpeg(
      '-itsoffset',
      '0.52',
      '-i',
      plain,
      '-map',
      '0:v',
      '-c',
      'copy',
      '-timecode',
      '01:00:00:00',
      source,
    );
    const [made] = await makeAll(source, [vc3], folder);
    expect(made?.checked.findings).toEqual([]);
    expect(made?.checked.facts?.video).toMatchObject({ frames: 12, firstTime: 0 });
  });

  test.each<readonly [string, string]>([
    ['48000/1001', '01:00:00:47'],
    ['120', '01:00:00:119'],
    ...further(['96', '01:00:00:95'], ['100', '01:00:00:99'], ['120000/1001', '01:00:00:00']),
  ])('%s frames a second from %s pass every check', async (rate, timecode) => {
    const folder = freshFolder('fast');
    const source = await makeMovie(join(folder, 'clip.mov'), { rate, timecode, frames: 12, audio: [1] });
    for (const { checked } of await makeAll(source, [vc3, review], folder))
      expect(checked.findings).toEqual([]);
  });

  test('one frame is enough', async () => {
    const folder = freshFolder('one');
    const source = await makeMovie(join(folder, 'clip.mov'), { frames: 1, rate: '24' });
    for (const { checked } of await makeAll(source, [vc3, rdd36, review], folder))
      expect(checked.findings).toEqual([]);
  });
});

describe('geometry', () => {
  /** Where the top of an upright picture was in one that must be turned clockwise by so much. */
  const brightAfter: Readonly<Record<string, string>> = { '90': 'right', '180': 'bottom', '270': 'left' };
  test.each([90, 180, ...further(270)])(
    'a clip that asks to be turned (tag %i) comes out upright, as MediaInfo says that it must be turned',
    async (turn) => {
      const folder = freshFolder('turned');
      const flatMovie = join(folder, 'flat.mov');
      await ffmpeg(
        '-f',
        'lavfi',
        '-i',
        'color=black:s=384x320:r=24,drawbox=w=384:h=160:c=white:t=fill',
        '-vf',
        tags('bt709', 'bt709', 'bt709', 'tv'),
        ...lossless,
        flatMovie,
      );
      const source = join(folder, 'clip.mov');
      // The file's own matrix as MediaInfo reads it (clockwise): how a writer is asked for one, and in which sense, differs between versions of ffmpeg.
      const rotation = (): string =>
        String(
          Number.parseFloat(
            execFileSync('mediainfo', ['--Output=Video;%Rotation%', source], { encoding: 'utf8' }) || '0',
          ),
        );
      await ffmpeg(
        '-i',
        flatMovie,
        '-map',
        '0:v',
        '-c',
        'copy',
        '-metadata:s:v:0',
        `rotate=${turn}`,
        '-timecode',
        '01:00:00:00',
        source,
      );
      if (rotation() === '0')
        await ffmpeg(
          '-display_rotation',
          String(turn),
          '-i',
          flatMovie,
          '-map',
          '0:v',
          '-c',
          'copy',
          '-timecode',
          '01:00:00:00',
          source,
        );
      const clockwise = rotation();
      const facts = await factsOf(source);
      const bright = brightAfter[clockwise];
      expect(String(facts.video.rotation)).toBe(clockwise);
      expect(bright).toBeDefined();
      const [made] = await makeAll(source, [vc3], folder);
      expect(made?.checked.findings).toEqual([]);
      const { width, height } = made?.outcome ?? { width: 0, height: 0 };
      expect([width, height]).toEqual(turn === 180 ? [384, 320] : [320, 384]);
      const [frame] = (await planes(made?.path ?? '', width * height * 2)) as [Buffer];
      const luma = (x: number, y: number): number => frame[y * width + x] as number;
      const sides = {
        left: luma(8, height >> 1),
        right: luma(width - 9, height >> 1),
        top: luma(width >> 1, 8),
        bottom: luma(width >> 1, height - 9),
      };
      for (const [side, value] of Object.entries(sides)) {
        if (side === bright) expect(value).toBeGreaterThan(200);
        else if ({ left: 'right', right: 'left', top: 'bottom', bottom: 'top' }[side] === bright)
          expect(value).toBeLessThan(40);
      }
    },
  );

  test('pixels that are not square become square', async () => {
    const folder = freshFolder('aspect');
    const source = join(folder, 'clip.mov');
    await ffmpeg(
      '-f',
      'lavfi',
      '-i',
      'testsrc2=s=360x288:r=25',
      '-vf',
      `setsar=16/15,${tags('bt709', 'bt709', 'bt709', 'tv')}`,
      ...lossless,
      source,
    );
    for (const { checked, outcome } of await makeAll(source, [vc3, review], folder)) {
      expect([outcome.width, outcome.height]).toEqual([384, 288]);
      expect(checked.findings).toEqual([]);
    }
  });

  test('fill keeps the middle and cuts the edges', async () => {
    const folder = freshFolder('fill');
    const source = join(folder, 'clip.mov');
    // White in the middle half, black in the outer quarters: 640x180 filled into 320x180 shows the white alone.
    await ffmpeg(
      '-f',
      'lavfi',
      '-i',
      'color=black:s=640x180:r=24,drawbox=x=160:w=320:h=180:c=white:t=fill',
      '-vf',
      tags('bt709', 'bt709', 'bt709', 'tv'),
      ...lossless,
      source,
    );
    const [made] = await makeAll(
      source,
      [{ ...vc3, raster: { policy: 'fill', width: 320, height: 180, multiple_of: 2, enlarge: true } }],
      folder,
    );
    expect(made?.checked.findings).toEqual([]);
    const [frame] = (await planes(made?.path ?? '', 320 * 180 * 2)) as [Buffer];
    for (const x of [2, 160, 317]) expect(frame[90 * 320 + x]).toBeGreaterThan(225);
  });

  test.each([
    ['1', [321, 181]],
    ['2', [320, 180]],
  ] as const)('odd sizes with multiples of %s', async (multiple, [width, height]) => {
    const folder = freshFolder('odd');
    const source = await makeMovie(join(folder, 'clip.mov'), {
      size: '321x181',
      frames: 6,
      picture: 'testsrc',
    });
    const raster = { ...asShot, multiple_of: multiple === '1' ? (1 as const) : (2 as const) };
    for (const { checked, outcome } of await makeAll(
      source,
      [
        { ...vc3, raster },
        { ...rdd36, raster },
      ],
      folder,
    )) {
      expect([outcome.width, outcome.height]).toEqual([width, height]);
      expect(checked.findings).toEqual([]);
    }
  });
});

describe('pictures of every kind go in without a conversion that nobody asked for', () => {
  const kinds: readonly (readonly [title: string, codec: readonly string[]])[] = [
    ['8-bit packed 4:2:2', ['-c:v', 'rawvideo', '-pix_fmt', 'uyvy422']],
    ['10-bit packed 4:2:2', ['-c:v', 'v210', '-pix_fmt', 'yuv422p10le']],
    ['12-bit 4:4:4 with alpha', ['-c:v', 'prores_ks', '-profile:v', '4', '-pix_fmt', 'yuva444p10le']],
    ['RGB 16 bit', ['-c:v', 'png', '-pix_fmt', 'rgb48be']],
    [
      '10-bit 4:2:0',
      ['-c:v', 'libx265', '-pix_fmt', 'yuv420p10le', '-x265-params', 'log-level=none', '-tag:v', 'hvc1'],
    ],
    ['full-range JPEG', ['-c:v', 'mjpeg', '-pix_fmt', 'yuvj422p', '-q:v', '3']],
    ['grey', ['-c:v', 'png', '-pix_fmt', 'gray']],
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
    // Into eight bits, and by turns into ten or into 4:2:0; the long lane makes all of each.
    const wanted = everyRow ? [vc3, rdd36, review] : [vc3, row % 2 === 0 ? rdd36 : review];
    for (const { checked } of await makeAll(source, wanted, folder)) {
      expect(checked.findings).toEqual([]);
      expect(checked.facts?.video.frames).toBe(4);
    }
  });

  test.each<readonly [string, string, readonly string[]]>([
    [
      'top field first',
      'tff',
      ['-c:v', 'prores_ks', '-profile:v', '2', '-flags', '+ildct', '-top', '1', '-pix_fmt', 'yuv422p10le'],
    ],
    [
      'bottom field first',
      'bff',
      ['-c:v', 'prores_ks', '-profile:v', '2', '-flags', '+ildct', '-top', '0', '-pix_fmt', 'yuv422p10le'],
    ],
    ...further([
      'packed, top field first',
      'tff',
      ['-c:v', 'rawvideo', '-pix_fmt', 'uyvy422', '-field_order', 'tt'],
    ]),
  ])('interlaced, %s: one progressive frame of each frame', async (_title, order, codec) => {
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
      [{ ...vc3, interlaced: 'deinterlace' }, review],
      folder,
    )) {
      expect(outcome.frames).toBe(12);
      expect(checked.findings).toEqual([]);
    }
  });
});

describe('audio', () => {
  test.each<readonly [string, number[]]>([
    ['mono and stereo', [1, 2]],
    ['four and six channels', [4, 6]],
    ['none', []],
    ...further<readonly [string, number[]]>(['one track', [2]], ['two mono tracks', [1, 1]]),
  ])('%s: tracks, layouts and samples as planned', async (_title, audio) => {
    const folder = freshFolder('audio');
    const source = await makeMovie(join(folder, 'clip.mov'), {
      rate: '30000/1001',
      timecode: '01:00:00;00',
      frames: 7,
      audio,
    });
    for (const { checked, outcome } of await makeAll(source, [vc3, review], folder)) {
      expect(checked.findings).toEqual([]);
      expect(outcome.audio.map((track) => track.channels)).toEqual(audio);
      // 7 frames at 30000/1001 last 11 211.2 samples.
      for (const track of outcome.audio) expect(track.samples).toBe(11_211);
    }
  });

  test('tracks keep their order: each sounds its own tone', async () => {
    const folder = freshFolder('tones');
    const source = await makeMovie(join(folder, 'clip.mov'), { rate: '24', frames: 24, audio: [1, 1, 1] });
    const [made] = await makeAll(source, [vc3], folder);
    // Tones of 440, 550 and 660 Hz cross zero upwards as often in a second.
    for (const [track, hertz] of [440, 550, 660].entries()) {
      const values = await samples(made?.path ?? '', track);
      let crossings = 0;
      for (let index = 1; index < values.length; index += 1)
        if ((values[index - 1] as number) < 0 && (values[index] as number) >= 0) crossings += 1;
      expect(Math.abs(crossings - hertz)).toBeLessThanOrEqual(1);
    }
  });

  test("a click stays on its sample, at the source's rate", async () => {
    const folder = freshFolder('click');
    const picture = await makeMovie(join(folder, 'picture.mov'), { frames: 24, rate: '24', audio: [] });
    const source = join(folder, 'clip.mov');
    await ffmpeg(
      '-i',
      picture,
      '-f',
      'lavfi',
      '-i',
      "aevalsrc='0.5*eq(n,12345)':s=48000:d=1",
      '-map',
      '0:v',
      '-map',
      '1:a',
      '-c:v',
      'copy',
      '-c:a',
      'pcm_s24le',
      '-timecode',
      '01:00:00:00',
      source,
    );
    const [made] = await makeAll(source, [vc3], folder);
    const values = await samples(made?.path ?? '', 0);
    expect(values.length).toBe(48_000);
    expect(values.findIndex((value) => value !== 0)).toBe(12_345);
  });

  test.each([
    ['late', '0.02', 960, 960],
    ['early', '-0.02', -960, 0],
  ])('audio that starts %s is put where it belongs', async (_title, offset, startOffset, silence) => {
    const folder = freshFolder('offset');
    const picture = await makeMovie(join(folder, 'picture.mov'), { frames: 25, rate: '25', audio: [] });
    const source = join(folder, 'clip.mov');
    const shift = offset.startsWith('-')
      ? ['-itsoffset', offset.slice(1), '-i', picture]
      : ['-i', picture, '-itsoffset', offset];
    await ffmpeg(
      ...shift,
      '-f',
      'lavfi',
      '-i',
      'aevalsrc=0.25:s=48000:d=1',
      '-map',
      '0:v',
      '-map',
      '1:a',
      '-c:v',
      'copy',
      '-c:a',
      'pcm_s24le',
      '-timecode',
      '01:00:00:00',
      source,
    );
    expect((await factsOf(source)).audio[0]?.startOffset).toBe(startOffset);
    const [made] = await makeAll(source, [vc3], folder);
    expect(made?.checked.findings).toEqual([]);
    const values = await samples(made?.path ?? '', 0);
    expect(values.length).toBe(48_000);
    expect(values.findIndex((value) => value !== 0)).toBe(silence);
  });

  test("another rate comes out at the profile's, as long as the picture", async () => {
    const folder = freshFolder('resampled');
    const picture = await makeMovie(join(folder, 'picture.mov'), { frames: 10, rate: '25', audio: [] });
    const source = join(folder, 'clip.mov');
    await ffmpeg(
      '-i',
      picture,
      '-f',
      'lavfi',
      '-i',
      'sine=f=440:r=44100:d=0.4',
      '-map',
      '0:v',
      '-map',
      '1:a',
      '-c:v',
      'copy',
      '-c:a',
      'pcm_s16le',
      '-timecode',
      '01:00:00:00',
      source,
    );
    for (const { checked, outcome } of await makeAll(source, [vc3, review], folder)) {
      expect(outcome.audio[0]).toMatchObject({ sampleRate: 48_000, samples: 19_200 });
      expect(checked.findings).toEqual([]);
    }
  });
});

describe('burnt-in text', () => {
  interface Text {
    readonly text: 'timecode' | 'clip';
    readonly words: string;
    readonly rate: string;
    readonly timecode: string;
  }
  /** Of each text the digests of its four frames, VC-3 of a plain picture: frames of equal pictures are equal bytes. */
  async function framesOf(texts: readonly Text[], folder = freshFolder('text')): Promise<string[][]> {
    const made: string[] = [];
    for (const [index, { text, words, rate, timecode }] of texts.entries()) {
      const own = join(folder, String(index));
      const source = await makeMovie(join(own, 'clip.mov'), {
        rate,
        timecode,
        frames: 4,
        audio: [],
        picture: 'color',
        size: '640x360',
      });
      const facts = await factsOf(source);
      const profile: Profile = { ...vc3, burn_in: [{ text, place: 'bottom-right', height_percent: 8 }] };
      const decided = outcomeOf({
        day: 'd',
        roll: 'A001',
        clip: { id: 'clip', name: words },
        facts,
        profile,
      });
      if (decided.outcome === null) throw new Error(JSON.stringify(decided.findings));
      const path = join(own, 'out.mov');
      const recipe = recipeOf({
        facts,
        deliverables: [{ profile, outcome: decided.outcome, path }],
        words: { clip: words, roll: 'A001' },
        textFolder: own,
        threads: 2,
      });
      for (const file of recipe.textFiles) writeFileSync(file.path, file.text);
      await ffmpeg(
        ...recipe.inputOptions,
        '-i',
        source,
        '-filter_complex',
        recipe.filterGraph,
        ...recipe.outputArguments,
      );
      made.push(path);
    }
    // One program decodes them all.
    await ffmpeg(
      ...made.flatMap((path) => ['-i', path]),
      ...made.flatMap((path, index) => [
        ...['-map', `${index}:v:0`, '-fps_mode', 'passthrough', '-c:v', 'rawvideo'],
        ...['-f', 'framehash', '-hash', 'sha256', `${path}.frames`],
      ]),
    );
    return made.map((path) =>
      readFileSync(`${path}.frames`, 'utf8')
        .split('\n')
        .filter((line) => line !== '' && !line.startsWith('#'))
        .map((line) => (line.split(',').at(-1) as string).trim()),
    );
  }

  // Labels typed by hand, after SMPTE ST 12-1.
  test.each<readonly [string, string, string[]]>([
    ['30000/1001', '00:00:59;28', ['00:00:59;28', '00:00:59;29', '00:01:00;02', '00:01:00;03']],
    ['60000/1001', '00:08:59;58', ['00:08:59;58', '00:08:59;59', '00:09:00;04', '00:09:00;05']],
    ['24000/1001', '23:59:59:22', ['23:59:59:22', '23:59:59:23', '00:00:00:00', '00:00:00:01']],
    ...further<readonly [string, string, string[]]>(
      ['30000/1001', '00:00:59:28', ['00:00:59:28', '00:00:59:29', '00:01:00:00', '00:01:00:01']],
      ['25', '09:59:59:23', ['09:59:59:23', '09:59:59:24', '10:00:00:00', '10:00:00:01']],
    ),
  ])('at %s from %s every frame shows its own label', async (rate, timecode, labels) => {
    // Each label is drawn by a program of its own; in npm test those before and after the change.
    const drawn = [...labels.entries()].filter(([index]) => everyRow || index === 1 || index === 2);
    const [counted, ...stills] = await framesOf([
      { text: 'timecode', words: 'unused', rate, timecode },
      ...drawn.map(([, words]): Text => ({ text: 'clip', words, rate, timecode })),
    ]);
    expect(new Set(counted).size).toBe(4);
    for (const [at, [index, label]] of drawn.entries())
      expect(stills[at]?.[index], label).toBe(counted?.[index]);
  });

  const names = [
    "it's 10:30 at 50% {x}",
    'line\nbreak \\ "quoted"',
    'جرس القلعة',
    '[a],b;c=d',
    '%{pts}',
    'raw\udcff',
    'n'.repeat(300),
    '鐘',
  ];
  describe('names', () => {
    let drawn = new Map<string, string[]>();
    beforeAll(async () => {
      const all = ['-', ...names];
      const frames = await framesOf(
        all.map((words): Text => ({ text: 'clip', words, rate: '24', timecode: '01:00:00:00' })),
        join(sharedFolder, 'names-drawn'),
      );
      drawn = new Map(all.map((name, index) => [name, frames[index] as string[]]));
    });

    test.each(names)('the name %j is drawn and breaks nothing', (name) => {
      expect(drawn.get(name)).toHaveLength(4);
      expect(new Set(drawn.get(name)).size).toBe(1);
      expect(drawn.get(name)?.[0]).not.toBe(drawn.get('-')?.[0]);
    });
  });

  test('folders with every special character are read from and written to', async () => {
    const folder = join(freshFolder('odd'), "it's [a],b;c:d=%d \\ {x}");
    mkdirSync(folder, { recursive: true });
    const source = await makeMovie(join(folder, 'clip.mov'), { frames: 3, rate: '24' });
    for (const { checked } of await makeAll(source, [vc3, review], folder))
      expect(checked.findings).toEqual([]);
  });
});

test('the same packets come out whatever the number of threads and the company of other profiles', async () => {
  const folder = freshFolder('threads');
  const source = await makeMovie(join(folder, 'clip.mov'), { frames: 24, rate: '24', codec: 'h264' });
  const facts = await factsOf(source);
  const digests = async (threads: number, profiles: readonly Profile[]): Promise<Map<string, string>> => {
    const deliverables = profiles.map((profile) => {
      const decided = outcomeOf({
        day: 'd',
        roll: 'A001',
        clip: { id: 'clip', name: 'clip' },
        facts,
        profile,
      });
      if (decided.outcome === null) throw new Error(JSON.stringify(decided.findings));
      return {
        profile,
        outcome: decided.outcome,
        path: join(folder, `${threads}-${profiles.length}-${profile.name}.${profile.container}`),
      };
    });
    const recipe = recipeOf({
      facts,
      deliverables,
      words: { clip: 'clip', roll: 'A001' },
      textFolder: folder,
      threads,
    });
    for (const file of recipe.textFiles) writeFileSync(file.path, file.text);
    await ffmpeg(
      ...recipe.inputOptions,
      '-i',
      source,
      '-filter_complex',
      recipe.filterGraph,
      ...recipe.outputArguments,
    );
    const found = new Map<string, string>();
    for (const { profile, path } of deliverables) found.set(profile.name, await packetDigest(path));
    return found;
  };
  const together = await digests(1, [vc3, rdd36, review]);
  expect(await digests(4, [vc3, rdd36, review])).toEqual(together);
  for (const profile of [vc3, rdd36, review])
    expect((await digests(2, [profile])).get(profile.name)).toBe(together.get(profile.name));
});

test('one decode serves all deliverables, and every decoded frame is reported with its size', async () => {
  const folder = freshFolder('decode');
  const source = await makeMovie(join(folder, 'clip.mov'), { frames: 5, rate: '24', audio: [] });
  const facts = await factsOf(source);
  const deliverables = [vc3, rdd36, review].map((profile) => {
    const decided = outcomeOf({ day: 'd', roll: 'A001', clip: { id: 'clip', name: 'clip' }, facts, profile });
    if (decided.outcome === null) throw new Error(JSON.stringify(decided.findings));
    return { profile, outcome: decided.outcome, path: join(folder, `${profile.name}.${profile.container}`) };
  });
  const recipe = recipeOf({
    facts,
    deliverables,
    words: { clip: 'clip', roll: 'A001' },
    textFolder: folder,
    threads: 1,
  });
  for (const file of recipe.textFiles) writeFileSync(file.path, file.text);
  expect(recipe.filterGraph.match(/\[0:/g)).toHaveLength(1);
  const run = await runForOutput(
    'ffmpeg',
    [
      '-hide_banner',
      '-nostdin',
      '-y',
      '-loglevel',
      'repeat+level+info',
      ...recipe.inputOptions,
      '-i',
      source,
      '-filter_complex',
      recipe.filterGraph,
      ...recipe.outputArguments,
    ],
    { pipes: drained },
  );
  expect(run.exitCode, run.stderr).toBe(0);
  expect(run.stderr.match(/\[Parsed_showinfo_0 @ [^\]]+\] \[info\] n: *\d+ .*s:320x180/g)).toHaveLength(5);
});
