/** Tags of DNG files: every one with its default, read as `raw-identify` of LibRaw reads them; what is no frame to develop is told apart, with its reasons. */
import { readFileSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { describe, expect, test } from 'vitest';
import { isoTime } from '../../media/formats/tiff/time.ts';
import type { DngFrame } from '../../media/formats/dng/header.ts';
import { sourceOfBytes } from '../../media/formats/tiff/header.ts';
import { readDng } from '../../media/formats/dng/reader.ts';
import { DngRefusal } from '../../media/formats/dng/refusal.ts';
import { StillDamage } from '../../media/formats/still.ts';
import { runForOutput } from '../../process/run.ts';
import {
  COLOUR_MATRIX_A,
  COLOUR_MATRIX_D65,
  type DngOptions,
  type DngTag,
  ascii,
  buildDng,
  rationals,
  srationals,
  testSamples,
} from '../support/dng.ts';
import { freshFolder } from '../support/folder.ts';

const [width, height] = [96, 64];
const samples = testSamples(width, height, 12);
const build = (options: Partial<DngOptions> = {}): Buffer =>
  buildDng({ width, height, samples, bits: 12, ...options });
const read = async (options: Partial<DngOptions> = {}): Promise<DngFrame> =>
  await readDng(sourceOfBytes(build(options)));
const numbers = (tag: number, ...values: number[]): DngTag => ({ tag, type: 'long', values });
const bytes = (tag: number, ...values: number[]): DngTag => ({ tag, type: 'byte', values });

const FORWARD = [0.660065, 0.20002, 0.10421, 0.25, 0.8, -0.05, 0.020005, -0.12003, 0.925129];
const everything: Partial<DngOptions> = {
  pattern: 'gbrg',
  timecode: '01:02:03;04',
  rate: [30_000, 1001],
  tags: [
    numbers(50_829, 2, 4, 62, 92),
    numbers(50_830, 0, 0, 2, 96, 62, 0, 64, 96),
    { tag: 50_713, type: 'short', values: [2, 2] },
    { tag: 50_714, type: 'short', values: [256, 257, 258, 259] },
    srationals(
      50_715,
      Array.from({ length: 88 }, (_, column) => (column % 3) / 4),
    ),
    srationals(
      50_716,
      Array.from({ length: 60 }, (_, row) => -(row % 2)),
    ),
    { tag: 50_717, type: 'short', values: [4000] },
    rationals(50_718, [1, 0.5]),
    rationals(50_719, [4.5, 2]),
    rationals(50_720, [80, 56]),
    { tag: 50_712, type: 'short', values: [0, 1, 3, 6, 65_535] },
    rationals(50_727, [1, 0.9, 1.1]),
    srationals(50_730, [0.25]),
    numbers(50_733, 120),
    rationals(50_734, [0.95]),
    srationals(50_964, FORWARD),
    srationals(50_723, [1.01, 0, 0, 0, 1, 0, 0, 0, 0.99]),
    ascii(306, '2026:11:25 19:06:17'),
    { tag: 274, type: 'short', values: [3] },
  ],
  exif: [
    rationals(33_434, [0.02]),
    rationals(33_437, [2.8]),
    { tag: 34_855, type: 'short', values: [800] },
    ascii(36_867, '2026:11:24 08:00:01'),
    ascii(37_521, '125'),
    ascii(36_881, '+01:00'),
  ],
};

describe('tags', () => {
  test.each([
    ['little end first', { littleEndian: true }],
    ['big end first', { littleEndian: false }],
    ['below a preview', { below: true }],
    ['below a preview, big end first', { below: true, littleEndian: false }],
  ])('all of them, %s', async (_name, form) => {
    const { picture, camera, timecode, rate } = await read({ ...everything, ...form });
    expect(picture).toMatchObject({
      width,
      height,
      activeArea: { top: 2, left: 4, bottom: 62, right: 92 },
      maskedAreas: [
        { top: 0, left: 0, bottom: 2, right: 96 },
        { top: 62, left: 0, bottom: 64, right: 96 },
      ],
      defaultCrop: { left: 4.5, top: 2, width: 80, height: 56 },
      defaultScale: { horizontal: 1, vertical: 0.5 },
      orientation: 3,
      pattern: 'gbrg',
      bitsPerSample: 12,
      compression: 'none',
      linearisation: [0, 1, 3, 6, 65_535],
      white: 4000,
      analogBalance: [1, 0.9, 1.1],
      asShotNeutral: [0.45, 1, 0.6],
      asShotWhiteXy: null,
      baselineExposure: 0.25,
      bayerGreenSplit: 120,
      linearResponseLimit: 0.95,
    });
    expect(picture.black).toMatchObject({ rows: 2, columns: 2, levels: [256, 257, 258, 259] });
    expect(picture.black.columnDeltas?.slice(0, 4)).toEqual([0, 0.25, 0.5, 0]);
    expect(picture.black.rowDeltas?.slice(0, 3)).toEqual([0, -1, 0]);
    expect(picture.calibrations).toEqual([
      {
        illuminant: 17,
        colourMatrix: COLOUR_MATRIX_A,
        forwardMatrix: FORWARD,
        cameraCalibration: [1.01, 0, 0, 0, 1, 0, 0, 0, 0.99],
      },
      {
        illuminant: 21,
        colourMatrix: COLOUR_MATRIX_D65,
        forwardMatrix: null,
        cameraCalibration: [1, 0, 0, 0, 1, 0, 0, 0, 1],
      },
    ]);
    expect(camera).toMatchObject({
      iso: 800,
      exposureSeconds: 0.02,
      fNumber: 2.8,
      capturedAt: '2026-11-24T08:00:01.125+01:00',
    });
    expect(timecode).toEqual({ hours: 1, minutes: 2, seconds: 3, frames: 4, drop: true });
    expect(rate).toEqual({ num: 30_000, den: 1001 });
  });

  test('what is absent has the default of the specification', async () => {
    const { picture, camera, timecode, rate, opcodes, passedOver } = await read();
    expect(picture).toMatchObject({
      activeArea: { top: 0, left: 0, bottom: height, right: width },
      maskedAreas: [],
      defaultCrop: { left: 0, top: 0, width, height },
      defaultScale: { horizontal: 1, vertical: 1 },
      linearisation: null,
      black: { rows: 1, columns: 1, levels: [0], columnDeltas: null, rowDeltas: null },
      white: 4095,
      analogBalance: [1, 1, 1],
      baselineExposure: 0,
      bayerGreenSplit: 0,
      linearResponseLimit: 1,
    });
    expect(camera).toMatchObject({
      iso: null,
      exposureSeconds: null,
      tStop: null,
      capturedAt: null,
      reel: null,
    });
    expect([timecode, rate, opcodes, passedOver]).toEqual([null, null, [], []]);
  });

  test('the calibration of a camera counts only for the profile that has its signature', async () => {
    const calibration = srationals(50_723, [1.01, 0, 0, 0, 1, 0, 0, 0, 0.99]);
    const other = await read({ tags: [calibration, ascii(50_931, 'foundry'), ascii(50_932, 'belfry')] });
    expect(other.picture.calibrations[0]?.cameraCalibration).toEqual([1, 0, 0, 0, 1, 0, 0, 0, 1]);
    const same = await read({ tags: [calibration, ascii(50_931, 'foundry'), ascii(50_932, 'foundry')] });
    expect(same.picture.calibrations[0]?.cameraCalibration[0]).toBe(1.01);
  });

  test('a white point instead of a neutral; beside one it is reported and not used', async () => {
    const white = rationals(50_729, [0.3127, 0.329]);
    expect(
      (await read({ tags: [white, { tag: 50_728, type: 'rational', values: [] }] })).picture,
    ).toMatchObject({ asShotNeutral: null, asShotWhiteXy: [0.3127, 0.329] });
    const both = await read({ tags: [white] });
    expect(both.picture.asShotWhiteXy).toBeNull();
    expect(both.passedOver).toEqual(['AsShotWhiteXY']);
  });

  // EXIF 2.3: 65535 in ISOSpeedRatings, and the value in the tag that SensitivityType names.
  test.each([
    ['800', [{ tag: 34_855, type: 'short', values: [800] }], 800],
    [
      '65535 and an index of 102400',
      [
        { tag: 34_855, type: 'short', values: [65_535] },
        { tag: 34_864, type: 'short', values: [2] },
        numbers(34_866, 102_400),
      ],
      102_400,
    ],
    [
      '65535 and a standard output sensitivity',
      [
        { tag: 34_855, type: 'short', values: [65_535] },
        { tag: 34_864, type: 'short', values: [1] },
        numbers(34_865, 204_800),
        numbers(34_866, 1),
      ],
      204_800,
    ],
    ['65535 and nothing else', [{ tag: 34_855, type: 'short', values: [65_535] }], null],
    ['0', [{ tag: 34_855, type: 'short', values: [0] }], null],
  ] as [string, DngTag[], number | null][])('ISO of %s', async (_name, exif, iso) => {
    expect((await read({ exif })).camera.iso).toBe(iso);
  });

  test.each([
    [[24_000, 1001], { num: 24_000, den: 1001 }],
    [[23_976, 1000], { num: 24_000, den: 1001 }],
    [[2997, 100], { num: 30_000, den: 1001 }],
    [[25_000, 1000], { num: 25, den: 1 }],
    [[24, 1], { num: 24, den: 1 }],
    [[0, 1], null],
  ] as const)('a rate of %j', async (rate, expected) => {
    expect((await read({ rate })).rate).toEqual(expected);
  });

  test.each([
    ['2026:11:25 19:06:17', '5', 'Z', '2026-11-25T19:06:17.5Z'],
    ['2026:11:25 19:06:17', null, null, '2026-11-25T19:06:17'],
    ['2026:02:29 19:06:17', null, null, null],
    ['2024:02:29 23:59:59', 'x', 'x', '2024-02-29T23:59:59'],
    ['0000:00:00 00:00:00', null, null, null],
    ['    :  :     :  :  ', null, null, null],
  ])('the time %s', (stored, fraction, offset, expected) => {
    expect(isoTime(stored, fraction, offset)).toBe(expected);
  });
});

// Of another project's test suite (SOURCES.md): phone pictures, demosaiced before they were stored.
test.each([
  ['linear-1mp.dng', 1],
  ['linear-1mp-rotated.dng', 8],
])('LinearRaw of a phone: %s', async (name, orientation) => {
  const { picture, storage } = await readDng(sourceOfBytes(readFileSync(resolve('test/fixtures/raw', name))));
  expect(picture.pattern).toBeNull();
  expect([storage.samples, storage.float, storage.compression]).toEqual([3, false, 'lossy-jpeg']);
  expect(picture.white).toEqual([255, 255, 255]);
  expect(picture.orientation).toBe(orientation);
});

test('raw-identify reads the same', async () => {
  const path = join(freshFolder('identify'), 'a.dng');
  // It shows what it read before the table and the deltas only.
  const tags = (everything.tags ?? []).filter(
    ({ tag }) => ![50_712, 50_715, 50_716, 50_718, 274].includes(tag),
  );
  writeFileSync(path, build({ ...everything, tags, below: true }));
  const { picture, camera } = await readDng(sourceOfBytes(readFileSync(path)));
  const { stdout } = await runForOutput('raw-identify', ['-v', path]);
  const said = stdout.toString('utf8');
  const found = (pattern: RegExp): number[] =>
    (pattern.exec(said)?.slice(1) ?? []).flatMap((text) => text.trim().split(/[\s,x]+/)).map(Number);
  expect(found(/^Full size: +(.*)$/m)).toEqual([picture.width, picture.height]);
  expect(found(/^Image size: +(.*)$/m)).toEqual([
    picture.activeArea.right - picture.activeArea.left,
    picture.activeArea.bottom - picture.activeArea.top,
  ]);
  expect(/^Filter pattern: (\w{4})/m.exec(said)?.[1]?.toLowerCase()).toBe(picture.pattern);
  expect(found(/^cblack\[6 \.\. 9\]: (.*)$/m)).toEqual(picture.black.levels);
  expect(found(/^Baseline exposure: (.*)$/m)).toEqual([picture.baselineExposure]);
  expect(found(/^ISO speed: (.*)$/m)).toEqual([camera.iso]);
  expect(found(/^Aperture: f\/(.*)$/m)).toEqual([camera.fNumber]);
  expect(found(/^Shutter: 1\/(.*)$/m)).toEqual([1 / (camera.exposureSeconds ?? 0)]);
  expect(/^UniqueCameraModel: =(.*)=$/m.exec(said)?.[1]).toBe(camera.model);
  for (const [index, { colourMatrix }] of picture.calibrations.entries())
    expect(found(new RegExp(`^DNG color matrix ${index + 1}:\\n(.*)\\n(.*)\\n(.*)$`, 'm'))).toEqual(
      colourMatrix,
    );
  expect(found(/^DNG forward matrix 1:\n(.*)\n(.*)\n(.*)$/m)).toEqual(
    FORWARD.map((value) => Number(value.toFixed(4))),
  );
  // Its white balance is the inverse of the neutral.
  expect(found(/As shot +(\S+ \S+ \S+)/)).toEqual(
    picture.asShotNeutral?.map((value) => Number((1 / value).toPrecision(6))),
  );
});

describe('what is no frame to develop', () => {
  test.each([
    [
      'LinearRaw of four samples, in planes',
      {
        tags: [
          { tag: 262, type: 'short', values: [34_892] },
          { tag: 277, type: 'short', values: [4] },
          { tag: 284, type: 'short', values: [2] },
        ],
      },
      [
        'LinearRaw of 4 samples a pixel, red, green and blue are wanted',
        'LinearRaw in planes of their own (PlanarConfiguration 2)',
      ],
    ],
    [
      'a common picture',
      { tags: [{ tag: 262, type: 'short', values: [2] }] },
      ['no sensor pattern: PhotometricInterpretation 2'],
    ],
    [
      'a pattern of six',
      {
        tags: [
          { tag: 33_421, type: 'short', values: [6, 6] },
          bytes(33_422, ...Array.from({ length: 36 }, (_, index) => index % 3)),
        ],
      },
      ['a colour pattern of 6 x 6'],
    ],
    ['four colours', { tags: [bytes(33_422, 0, 1, 3, 2)] }, ['a colour pattern of 0 1 3 2']],
    ['three greens', { tags: [bytes(33_422, 0, 1, 1, 1)] }, ['a colour pattern of 0 1 1 1']],
    ['several samples', { tags: [{ tag: 277, type: 'short', values: [2] }] }, ['2 samples a pixel']],
    ['staggered rows', { tags: [{ tag: 50_711, type: 'short', values: [2] }] }, ['CFALayout 2']],
    ['other planes', { tags: [bytes(50_710, 2, 1, 0)] }, ['colour planes 2 1 0']],
    [
      'floats',
      { tags: [{ tag: 339, type: 'short', values: [3] }] },
      ['SampleFormat 3: a mosaic of no whole numbers'],
    ],
    ['rows in fields', { tags: [numbers(50_975, 2)] }, ['RowInterleaveFactor 2']],
    [
      'no matrix',
      { tags: [{ tag: 50_721, type: 'srational', values: [] }] },
      ['no ColorMatrix1: nothing says what the colours of the sensor are'],
    ],
    ['no DNG', { tags: [bytes(50_706)] }, ['no DNG: there is no DNGVersion']],
    [
      'a later version',
      { tags: [bytes(50_707, 1, 8, 0, 0)] },
      ['a file for readers of DNG 1.8.0.0, this one knows 1.7.1.0'],
    ],
    [
      'several things at once',
      {
        tags: [
          { tag: 277, type: 'short', values: [2] },
          { tag: 339, type: 'short', values: [3] },
        ],
      },
      ['2 samples a pixel', 'SampleFormat 3: a mosaic of no whole numbers'],
    ],
  ] as [string, Partial<DngOptions>, string[]][])('%s', async (_name, options, reasons) => {
    const refusal = await read(options).catch((error: unknown) => error);
    expect(refusal).toBeInstanceOf(DngRefusal);
    expect((refusal as DngRefusal).reasons).toEqual(reasons);
  });
});

describe('tags that cannot be', () => {
  test.each([
    [
      'an active area beyond the picture',
      [numbers(50_829, 0, 0, 64, 97)],
      /ActiveArea 0 0 64 97 in a picture of 96x64/,
    ],
    ['an active area of nothing', [numbers(50_829, 5, 0, 5, 96)], /ActiveArea/],
    ['masked areas of three numbers', [numbers(50_830, 0, 0, 2)], /MaskedAreas of 3 numbers/],
    ['a crop beyond the active area', [numbers(50_720, 97, 64)], /default crop 97x64/],
    [
      'a matrix of eight numbers',
      [srationals(50_721, [1, 0, 0, 0, 1, 0, 0, 0])],
      /ColorMatrix1 .* 9 numbers are wanted/,
    ],
    [
      'a matrix without denominators',
      [
        {
          tag: 50_721,
          type: 'srational',
          values: Array.from({ length: 18 }, (_, index) => (index % 2 === 0 ? 1 : 0)),
        },
      ],
      /ColorMatrix1/,
    ],
    [
      'too few black levels',
      [
        { tag: 50_713, type: 'short', values: [2, 2] },
        { tag: 50_714, type: 'short', values: [1, 2, 3] },
      ],
      /BlackLevel .* 4 numbers/,
    ],
    [
      'black above white',
      [{ tag: 50_714, type: 'short', values: [4095] }],
      /white level 4095 with black levels up to 4095/,
    ],
    ['deltas for other columns', [srationals(50_715, [1, 2])], /BlackLevelDeltaH/],
    ['a neutral of nothing', [rationals(50_728, [0, 1, 1])], /white balance/],
    ['a picture of nothing', [numbers(256, 0)], /raster 0x64|pieces of 0x64/],
    ['strips for another height', [numbers(257, 640)], /picture of 96x640|bytes/],
    ['no bits', [{ tag: 258, type: 'short', values: [0] }], /0 bits/],
    [
      'a list of opcodes that is cut off',
      [
        {
          tag: 51_009,
          type: 'undefined',
          values: [0, 0, 0, 2, 0, 0, 0, 1, 1, 3, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0],
        },
      ],
      /OpcodeList2 is cut off/,
    ],
  ] as [string, DngTag[], RegExp][])('%s', async (_name, tags, message) => {
    const damage = await read({ tags }).catch((error: unknown) => error);
    expect(damage).toBeInstanceOf(StillDamage);
    expect((damage as StillDamage).message).toMatch(message);
  });

  test('BigTIFF is refused with a word', async () => {
    const file = build();
    file.writeUInt16LE(43, 2);
    await expect(readDng(sourceOfBytes(file))).rejects.toThrow(
      'a BigTIFF file, which this version does not read',
    );
  });
});
