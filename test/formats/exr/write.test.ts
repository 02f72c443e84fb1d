/** Files of the writer, as others read them: OpenEXR's exrheader, OpenImageIO, ffmpeg. */
import { createHash } from 'node:crypto';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { fromHalf, roundToHalf, toHalf } from '../../../check/master/exr/half.ts';
import { sourceOfBytes } from '../../../check/master/exr/source.ts';
import { decodeHalves } from '../../../check/master/exr/values.ts';
import { walkExr } from '../../../check/master/exr/chunks.ts';
import { ExrEncoder, type ExrWriting, exrHeader } from '../../../media/formats/exr/writer.ts';
import { uncompressedBytes } from '../../../media/formats/exr/header.ts';
import { AP0 } from '../../../media/formats/exr/aces-rules.ts';
import { KernelMemory } from '../../../media/kernels/memory.ts';
import type { Planes } from '../../../media/kernels/planes.ts';
import { parseTimecode } from '../../../media/time/timecode.ts';
import { freshFolder, sharedFolder } from '../../support/folder.ts';
import { outputOf, pixelsOf } from '../../support/pictures.ts';
import { type Picture, encoded, grainy, numbers, placed } from './encoded.ts';

const forms = [
  { compression: 'none', container: 'exr' },
  { compression: 'zip', container: 'exr' },
  { compression: 'zips', container: 'exr' },
  { compression: 'piz', container: 'exr' },
  { compression: 'none', container: 'aces' },
] as const;

function flat(width: number, height: number, value: number): Picture {
  const plane = (): Float32Array => new Float32Array(width * height).fill(value);
  return { r: plane(), g: plane(), b: plane() };
}
function random(width: number, height: number): Picture {
  const next = numbers(99);
  // Any half, finite ones only: what compression makes larger.
  const plane = (): Float32Array =>
    Float32Array.from({ length: width * height }, () =>
      fromHalf(Math.floor(next() * 0x7c00) | (next() < 0.5 ? 0x8000 : 0)),
    );
  return { r: plane(), g: plane(), b: plane() };
}

function frameBy(encoder: ExrEncoder, bands: readonly Planes[], comments: string): Buffer {
  encoder.begin({ chromaticities: AP0, comments });
  return Buffer.concat([...bands.map((band) => Buffer.from(encoder.take(band))), encoder.finish()]);
}

async function read(bytes: Buffer): Promise<Map<string, Uint16Array>> {
  return await decodeHalves(sourceOfBytes(bytes));
}
const halves = (plane: Float32Array): Uint16Array => Uint16Array.from(plane, toHalf);

describe.each(forms)('$compression in $container', (form) => {
  test.each([
    [1, 1],
    [1, 17],
    [3, 2],
    [16, 16],
    [17, 33],
    [62, 50],
    [255, 15],
  ])(
    '%dx%d: each value is the nearest half, and the file is whole to the last byte',
    async (width, height) => {
      for (const picture of [
        grainy(width, height),
        flat(width, height, 0),
        flat(width, height, 0.18),
        random(width, height),
      ]) {
        const { bytes } = await encoded({ width, height, ...form }, picture);
        const planes = await read(bytes);
        expect([...planes.keys()]).toEqual(['B', 'G', 'R']);
        for (const [name, plane] of [
          ['R', picture.r],
          ['G', picture.g],
          ['B', picture.b],
        ] as const)
          expect(planes.get(name)).toEqual(halves(plane));
      }
    },
  );

  test('no number and no infinity is written; what was one is counted', async () => {
    const picture = flat(40, 20, 0.5);
    picture.r.set([Number.NaN, Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY, 1e6], 3);
    picture.b.set([Number.NaN], 799);
    const { bytes, nanCount, clamped } = await encoded({ width: 40, height: 20, ...form }, picture);
    expect([nanCount, clamped]).toEqual([2, 3]);
    const planes = await read(bytes);
    expect([...(planes.get('R') as Uint16Array).slice(3, 7)]).toEqual([0, 0x7bff, 0xfbff, 0x7bff]);
    expect(planes.get('B')?.[799]).toBe(0);
  });

  test('band by band the same bytes as all at once', async () => {
    const [width, height] = [37, 75];
    const memory = new KernelMemory();
    const encoder = await ExrEncoder.create(memory);
    encoder.prepare({ width, height, ...form });
    const { r, g, b } = placed(memory, grainy(width, height));
    const band = (first: number, lines: number): Planes => ({
      r: r + 4 * width * first,
      g: g + 4 * width * first,
      b: b + 4 * width * first,
      count: width * lines,
    });
    const whole = frameBy(encoder, [band(0, height)], 'x');
    for (const lines of [16, 32, 64]) {
      const bands = Array.from({ length: Math.ceil(height / lines) }, (_, index) =>
        band(index * lines, Math.min(lines, height - index * lines)),
      );
      expect(frameBy(encoder, bands, 'x').equals(whole)).toBe(true);
    }
    expect(() => frameBy(encoder, [band(0, 16)], 'x')).toThrow('16 lines of a picture of 37x75');
    expect(() => frameBy(encoder, [band(0, 64), band(0, 16)], 'x')).toThrow(
      'from line 64 of a picture of 37x75',
    );
    expect(() => frameBy(encoder, [{ ...band(0, 16), count: 100 }], 'x')).toThrow(RangeError);
    if (form.compression === 'zip')
      expect(() => frameBy(encoder, [band(0, 24), band(24, 51)], 'x')).toThrow('16 lines a chunk');
    // What was given up leaves nothing behind.
    expect(frameBy(encoder, [band(0, height)], 'x').equals(whole)).toBe(true);
  });

  test('in parts the same bytes as in a whole file', async () => {
    const [width, height] = [37, 75];
    const memory = new KernelMemory();
    const { r, g, b } = placed(memory, grainy(width, height));
    const bandsOf = (lines: number): Planes[] =>
      Array.from({ length: Math.ceil(height / lines) }, (_, index) => ({
        r: r + 4 * width * index * lines,
        g: g + 4 * width * index * lines,
        b: b + 4 * width * index * lines,
        count: width * Math.min(lines, height - index * lines),
      }));
    const encoder = await ExrEncoder.create(memory);
    encoder.prepare({ width, height, ...form });
    const whole = frameBy(encoder, bandsOf(16), 'x');
    encoder.prepare({ width, height, ...form }, 16);
    for (let frame = 0; frame < 2; frame += 1) {
      expect(frameBy(encoder, bandsOf(16), 'x').equals(whole)).toBe(true);
      expect(() => frameBy(encoder, bandsOf(16).slice(1), 'x')).toThrow('of a picture of 37x75');
    }
    // Where the head of the file does not wait for its chunks, nothing waits for the end.
    encoder.begin({ chromaticities: AP0, comments: 'x' });
    const isReady = form.compression === 'none' && form.container === 'exr';
    expect(encoder.take(bandsOf(16)[0] as Planes).length > 0).toBe(isReady);
    if (isReady) expect(() => encoder.take(bandsOf(32)[0] as Planes)).toThrow('with room for 16');
  });

  test('one encoder gives each frame the bytes that it gives alone', async () => {
    const [width, height] = [48, 40];
    const memory = new KernelMemory();
    const encoder = await ExrEncoder.create(memory);
    encoder.prepare({ width, height, ...form });
    const pictures = [
      grainy(width, height, 1),
      random(width, height),
      flat(width, height, 0),
      grainy(width, height, 1),
    ];
    const planes = pictures.map((picture) => placed(memory, picture));
    for (const [index, picture] of pictures.entries()) {
      const again = frameBy(encoder, [planes[index] as (typeof planes)[number]], 'x'.repeat(100 * index));
      const { bytes } = await encoded({ width, height, ...form }, picture, {
        comments: 'x'.repeat(100 * index),
      });
      expect(again.equals(bytes)).toBe(true);
    }
  });
});

describe('ffmpeg and OpenImageIO find the same values', () => {
  const [width, height] = [62, 50];
  const picture = grainy(width, height);
  const wanted = Array.from({ length: width * height }, (_, index) =>
    [picture.r, picture.g, picture.b].map((plane) => roundToHalf(plane[index] as number)),
  );
  const bytes = 12 * width * height;
  let byFfmpeg: Buffer = Buffer.alloc(0);
  let byOpenImageIo: Buffer = Buffer.alloc(0);
  let differences: readonly string[] = [];
  // All forms in one start of each program.
  beforeAll(async () => {
    const folder = mkdtempSync(join(sharedFolder, 'write-'));
    const file = (name: string, index: number | string): string => join(folder, `${name}-${index}.exr`);
    for (const [index, form] of forms.entries())
      writeFileSync(file('ours', index), (await encoded({ width, height, ...form }, picture)).bytes);
    // As 32-bit floats without a loss, through a file of OpenImageIO's own.
    const converted = await outputOf('oiiotool', [
      // Or it writes its whole command line into each file, longer than ffmpeg takes an attribute to be.
      '--nosoftwareattrib',
      ...['--fail', '0', '--hardfail', '0'],
      ...forms.flatMap((_, index) => [
        ...[file('ours', index), '-d', 'float', '--compression', 'none', '-o', file('theirs', index)],
        ...[file('ours', index), file('theirs', index), '--diff'],
      ]),
    ]);
    differences = String(converted).match(/^(PASS|WARNING|FAILURE)$/gm) ?? [];
    const read = (name: string): string[] => ['-start_number', '0', '-i', file(name, '%d')];
    const planes = ['-f', 'rawvideo', '-pix_fmt', 'gbrpf32le', '-'];
    byFfmpeg = await outputOf('ffmpeg', ['-v', 'error', ...read('ours'), ...planes]);
    byOpenImageIo = await outputOf('ffmpeg', ['-v', 'error', ...read('theirs'), ...planes]);
    rmSync(folder, { recursive: true });
  });

  test.each(forms.map((form, index) => ({ ...form, index })))('$compression in $container', ({ index }) => {
    const pixels = (raw: Buffer): unknown => pixelsOf(raw.subarray(index * bytes, (index + 1) * bytes));
    expect([byFfmpeg.length, byOpenImageIo.length]).toEqual([forms.length * bytes, forms.length * bytes]);
    expect(pixels(byFfmpeg)).toEqual(wanted);
    expect(pixels(byOpenImageIo)).toEqual(wanted);
    expect(differences).toHaveLength(forms.length);
    expect(differences[index]).toBe('PASS');
  });
});

const said = {
  timecode: parseTimecode('01:02:03;04', 30),
  framesPerSecond: { num: 30_000, den: 1001 },
  captureRate: { num: 48, den: 1 },
  imageCounter: 111_694,
  reelName: 'B012',
  capDate: '2026:11:25 10:20:30',
  utcOffset: -3600,
  isoSpeed: 800,
  expTime: 0.0208333,
  adoptedNeutral: [0.32168, 0.33767] as const,
  whiteLuminance: 100,
  cameraCCTSetting: 5600,
  cameraTintSetting: -2,
  owner: 'The bell foundry',
  comments: 'second casting',
  cameraLabel: 'B',
  cameraMake: 'none',
  cameraModel: 'none such',
  cameraSerialNumber: '0042',
  pixelAspect: 1.25,
  free: { sourceFile: 'B012_0001.dng', sourceFrame: '7' },
};

const common = [
  'captureRate (type rational): 48/1 (48)',
  'framesPerSecond (type rational): 30000/1001 (29.97)',
  'imageCounter (type int): 111694',
  'reelName (type string): "B012"',
  'capDate (type string): "2026:11:25 10:20:30"',
  'utcOffset (type float): -3600',
  'isoSpeed (type float): 800',
  'expTime (type float): 0.0208333',
  'owner (type string): "The bell foundry"',
  'cameraLabel (type string): "B"',
  'cameraMake (type string): "none"',
  'cameraModel (type string): "none such"',
  'cameraSerialNumber (type string): "0042"',
  'pixelAspectRatio (type float): 1.25',
  'dataWindow (type box2i): (0 0) - (19 11)',
  'displayWindow (type box2i): (0 0) - (19 11)',
  'lineOrder (type lineOrder): increasing y',
  'screenWindowCenter (type v2f): (0 0)',
  'screenWindowWidth (type float): 1',
  '    time 01:02:03:04',
  '    drop frame 1, color frame 0, field/phase 0',
  '    B, 16-bit floating-point, sampling 1 1',
  '    red   (0.7347 0.2653)',
  '    green (0 1)',
  '    blue  (0.0001 -0.077)',
  '    white (0.32168 0.33767)',
];

describe('exrheader of OpenEXR', () => {
  async function linesOf(form: ExrWriting, attributes: object = said): Promise<string[]> {
    const folder = freshFolder();
    writeFileSync(
      join(folder, 'a.exr'),
      (await encoded(form, grainy(form.width, form.height), attributes)).bytes,
    );
    return String(await outputOf('exrheader', [join(folder, 'a.exr')])).split('\n');
  }

  test('prints everything that a frame says', async () => {
    expect(await linesOf({ width: 20, height: 12, compression: 'zip', container: 'exr' })).toEqual(
      expect.arrayContaining([
        ...common,
        'compression (type compression): zip, multi-scanline blocks',
        'adoptedNeutral (type v2f): (0.32168 0.33767)',
        'whiteLuminance (type float): 100',
        'cameraCCTSetting (type float): 5600',
        'cameraTintSetting (type float): -2',
        'comments (type string): "second casting"',
        'sourceFile (type string): "B012_0001.dng"',
        'sourceFrame (type string): "7"',
      ]),
    );
  });

  test('prints the ACES container, in which comments hold what has no name of its own', async () => {
    const lines = await linesOf({ width: 20, height: 12, compression: 'none', container: 'aces' });
    expect(lines).toEqual(
      expect.arrayContaining([
        ...common,
        'compression (type compression): none',
        'acesImageContainerFlag (type int): 1',
        'comments (type string): "second casting',
        'adoptedNeutral: 0.32168 0.33767',
        'whiteLuminance: 100',
        'cameraCCTSetting: 5600',
        'cameraTintSetting: -2',
        'sourceFile: B012_0001.dng',
        'sourceFrame: 7"',
      ]),
    );
  });

  test('finds the second of a pair at 50 frames a second', async () => {
    const lines = await linesOf(
      { width: 20, height: 12, compression: 'none', container: 'exr' },
      { timecode: parseTimecode('10:20:30:49', 50) },
    );
    expect(lines).toEqual(
      expect.arrayContaining(['    time 10:20:30:24', '    drop frame 0, color frame 0, field/phase 1']),
    );
  });
});

test('the file without compression has the size that is foretold', async () => {
  for (const [width, height] of [
    [62, 50],
    [1, 1],
  ] as const) {
    const form = { width, height, compression: 'none', container: 'aces' } as const;
    const header = exrHeader(form, { chromaticities: AP0, ...said }).bytes.length;
    expect((await encoded(form, grainy(width, height), said)).bytes.length).toBe(
      uncompressedBytes(width, height, header),
    );
  }
  // Measured on ffmpeg's files, whose header has 392 bytes.
  expect([
    uncompressedBytes(1920, 1080, 392),
    uncompressedBytes(3840, 2160, 392),
    uncompressedBytes(4096, 2160, 392),
  ]).toEqual([12_459_272, 49_801_352, 53_119_112]);
});

test('a chunk that compression does not make smaller is stored as it is', async () => {
  const { bytes } = await encoded(
    { width: 64, height: 32, compression: 'zip', container: 'exr' },
    random(64, 32),
  );
  const { chunks } = await walkExr(sourceOfBytes(bytes));
  expect(chunks.map(({ bytes: size }) => size)).toEqual([6 * 64 * 16, 6 * 64 * 16]);
});

test.each([
  ['zip', 'b842fb4979e31e0841f80bf44c2940f8a27fde3e4012476409df4b01b427dbdf'],
  ['zips', 'bc01a2e74056e5e707b7eee973f34b83e97082fe0e7fff2c785eabfe7fd6dd9f'],
  ['piz', 'a2060bf0d63d94dd19be2e6cd374ee1d10e2c0ef23a521c1498726649a468e5a'],
  ['dwaa', '08f119843d53defc9a5c0bbb6a3232faa104c2ef4fcce505529f6d4349641807'],
  ['dwab', '54a7b1e377368efca68d9c9c039630c537e81eadae2edf77be76d8d8f38b9f63'],
] as const)('%s: the bytes are these, on every machine', async (compression, digest) => {
  const { bytes } = await encoded(
    { width: 240, height: 135, compression, level: 45, container: 'exr' },
    grainy(240, 135),
    said,
  );
  expect(createHash('sha256').update(bytes).digest('hex')).toBe(digest);
});

test.each<[string, ExrWriting, string]>([
  [
    'compression in the ACES container',
    { width: 4, height: 4, compression: 'zip', container: 'aces' },
    'not compressed',
  ],
  ['no lines', { width: 4, height: 0, compression: 'none', container: 'exr' }, '4x0'],
])('%s is refused', async (_name, form, words) => {
  await expect(encoded(form, grainy(4, 4))).rejects.toThrow(words);
});

test('planes of another size, and chromaticities other than AP0 in the ACES container, are refused', async () => {
  await expect(
    encoded({ width: 4, height: 4, compression: 'none', container: 'exr' }, grainy(4, 3)),
  ).rejects.toThrow('3 lines of a picture of 4x4');
  await expect(
    encoded({ width: 4, height: 4, compression: 'none', container: 'aces' }, grainy(4, 4), {
      chromaticities: { ...AP0, white: [0.3127, 0.329] },
    }),
  ).rejects.toThrow('ACES2065-1 only');
});
