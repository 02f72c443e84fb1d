/** Small pictures: JPEG held against the decoder of FFmpeg, scaling and colour against published numbers. */
import { execFileSync } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { crc32, deflateSync } from 'node:zlib';
import { describe, expect, test } from 'vitest';
import { jpegOf } from '../../handover/picture/jpeg.ts';
import { fittedWords } from '../../handover/picture/letters.ts';
import { fittedInto, type Picture } from '../../handover/picture/picture.ts';
import { type Light, lightOfCode, reduced, shownAs } from '../../handover/picture/scale.ts';
import { lightOfStill } from '../../handover/picture/still.ts';
import { boxFor, packed } from '../../handover/page/room.ts';
import { CLIPS_OF_A_SHEET, SHEET_PICTURE, sheetPicture } from '../../handover/sheet/sheet.ts';
import { freshFolder } from '../support/folder.ts';
import { HOSTILE, pictureWithDetail } from '../support/mornings.ts';

const flat = (width: number, height: number, colour: readonly number[]): Picture => ({
  width,
  height,
  samples: Uint8Array.from({ length: 3 * width * height }, (_, at) => colour[at % 3] as number),
});

/** Decibels. */
function psnr(a: Uint8Array, b: Uint8Array): number {
  let sum = 0;
  for (let at = 0; at < a.length; at += 1) sum += ((a[at] as number) - (b[at] as number)) ** 2;
  return 10 * Math.log10((255 * 255 * a.length) / sum);
}

/** A slope without noise: what coding does to it is small, and a swapped table or channel is not. */
function slope(width: number, height: number): Picture {
  const samples = new Uint8Array(3 * width * height);
  for (let y = 0; y < height; y += 1)
    for (let x = 0; x < width; x += 1)
      samples.set(
        [
          Math.round((250 * (x + 1)) / width),
          Math.round((250 * (y + 1)) / height),
          Math.round((200 * (x + y)) / (width + height)),
        ],
        3 * (y * width + x),
      );
  return { width, height, samples };
}

test('JPEG: another decoder reads the picture back, whatever its size', () => {
  const pictures = [
    slope(320, 180),
    slope(33, 17),
    flat(1, 1, [200, 30, 30]),
    flat(8, 9, [12, 130, 240]),
    pictureWithDetail(64, 48, 3),
  ];
  const folder = freshFolder('jpeg');
  const files = pictures.map((picture, index) => {
    const file = join(folder, `${index}.jpg`);
    writeFileSync(file, jpegOf(picture, 95, 'a comment'));
    return file;
  });
  // One start for all of them; -xerror: any damage ends it.
  execFileSync('ffmpeg', [
    ...['-v', 'error', '-xerror', '-y'],
    ...files.flatMap((file) => ['-i', file]),
    ...files.flatMap((file, index) => [
      '-map',
      `${index}:v`,
      '-pix_fmt',
      'rgb24',
      '-f',
      'rawvideo',
      `${file}.raw`,
    ]),
  ]);
  const found = files.map((file, index) => {
    const { samples } = pictures[index] as Picture;
    const read = readFileSync(`${file}.raw`);
    expect(read.length).toBe(samples.length);
    return psnr(samples, read);
  });
  // Slopes and flat colours at that quality; noise loses its chroma, which is half as fine.
  for (const [index, least] of [38, 30, 40, 38, 25].entries())
    expect(found[index], `picture ${index}`).toBeGreaterThan(least);
});

test('JPEG: as its standards ask, to the marker (ITU-T T.81, Annex B; T.871, clause 10.1)', () => {
  const file = jpegOf(slope(17, 9), 75, 'written by somebody');
  expect(file.subarray(0, 2).toString('hex')).toBe('ffd8');
  expect(file.subarray(2, 4).toString('hex')).toBe('ffe0');
  expect(file.subarray(6, 11).toString('latin1')).toBe('JFIF\0');
  const frame = file.indexOf(Buffer.from('ffc0', 'hex'));
  // Precision, lines, samples per line, components.
  expect([
    file[frame + 4],
    file.readUInt16BE(frame + 5),
    file.readUInt16BE(frame + 7),
    file[frame + 9],
  ]).toEqual([8, 9, 17, 3]);
  expect(file.includes('written by somebody')).toBe(true);
  expect(file.subarray(-2).toString('hex')).toBe('ffd9');
  expect(() => jpegOf({ width: 0, height: 1, samples: new Uint8Array(0) }, 75)).toThrow(RangeError);
});

describe('smaller pictures', () => {
  const light = ({ width, height, samples }: Picture): Light => ({
    width,
    height,
    samples: Float32Array.from(samples, (code) => lightOfCode(code / 255)),
  });

  test('light is averaged: a board of black and white becomes the code of half the light', () => {
    const board = flat(16, 16, [0, 0, 0]);
    for (let at = 0; at < 256; at += 1)
      if (((at >> 4) + at) % 2 === 0) board.samples.fill(255, 3 * at, 3 * at + 3);
    // IEC 61966-2-1: 1.055 * 0.5^(1/2.4) - 0.055 = 0.7354, times 255.
    expect([...new Set(shownAs(reduced(light(board), { width: 4, height: 4 })).samples)]).toEqual([188]);
  });

  test('a plain colour stays what it is at sizes that do not divide', () => {
    const { samples } = shownAs(reduced(light(flat(97, 61, [18, 130, 244])), { width: 32, height: 20 }));
    expect([...new Set(samples.filter((_, at) => at % 3 === 0))]).toEqual([18]);
    expect([...new Set(samples.filter((_, at) => at % 3 === 1))]).toEqual([130]);
    expect([...new Set(samples.filter((_, at) => at % 3 === 2))]).toEqual([244]);
  });

  test('a line keeps its share of the light, in its place', () => {
    const lined = flat(30, 3, [0, 0, 0]);
    for (let y = 0; y < 3; y += 1) lined.samples.fill(255, 3 * (30 * y + 10), 3 * (30 * y + 11));
    const small = reduced(light(lined), { width: 20, height: 1 });
    const shares = Array.from({ length: 20 }, (_, x) => small.samples[3 * x] as number);
    // Column 10 covers 6 2/3 to 7 1/3 of the narrower columns: a third of a column in each of two, a column in all times 20/30.
    expect(shares[6]).toBeCloseTo(1 / 3, 6);
    expect(shares[7]).toBeCloseTo(1 / 3, 6);
    expect(shares.reduce((sum, one) => sum + one, 0)).toBeCloseTo(2 / 3, 6);
  });

  test.each([
    [
      { width: 960, height: 540 },
      { width: 384, height: 216 },
    ],
    [
      { width: 540, height: 960 },
      { width: 122, height: 216 },
    ],
    [
      { width: 4096, height: 1716 },
      { width: 384, height: 161 },
    ],
    [
      { width: 100, height: 50 },
      { width: 100, height: 50 },
    ],
    [
      { width: 5000, height: 1 },
      { width: 384, height: 1 },
    ],
  ])('%j fits as %j, and nothing is enlarged', (size, fitted) => {
    expect(fittedInto(size, SHEET_PICTURE)).toEqual(fitted);
  });
});

/** A still as PNG (W3C, Portable Network Graphics, third edition): 16 bits, one colour. */
function still(primaries: number, code: readonly [number, number, number]): Buffer {
  const chunk = (type: string, data: Buffer): Buffer => {
    const body = Buffer.concat([Buffer.from(type, 'latin1'), data]);
    const out = Buffer.alloc(body.length + 8);
    out.writeUInt32BE(data.length, 0);
    body.copy(out, 4);
    out.writeUInt32BE(crc32(body), body.length + 4);
    return out;
  };
  const header = Buffer.from([0, 0, 0, 2, 0, 0, 0, 2, 16, 2, 0, 0, 0]);
  const pixel = Buffer.alloc(6);
  code.forEach((value, channel) => {
    pixel.writeUInt16BE(value, 2 * channel);
  });
  const line = Buffer.concat([Buffer.from([0]), pixel, pixel]);
  return Buffer.concat([
    Buffer.from('89504e470d0a1a0a', 'hex'),
    chunk('IHDR', header),
    chunk('cICP', Buffer.from([primaries, 13, 0, 1])),
    chunk('IDAT', deflateSync(Buffer.concat([line, line]))),
    chunk('IEND', Buffer.alloc(0)),
  ]);
}
const coded = (light: number): number =>
  Math.round(65_535 * (light <= 0.0031308 ? 12.92 * light : 1.055 * light ** (1 / 2.4) - 0.055));

test.each([
  // ITU-R BT.2087-0, clause 3: red, green and white of BT.709 in linear BT.2020.
  ['red of BT.2020 numbers', 9, [0.6274, 0.0691, 0.0164], [255, 0, 0]],
  ['green of BT.2020 numbers', 9, [0.3293, 0.9195, 0.088], [0, 255, 0]],
  ['white of BT.2020', 9, [1, 1, 1], [255, 255, 255]],
  ['BT.709 as it is', 1, [0.5, 0.2, 0.1], [188, 124, 89]],
] as const)('%s is shown in the primaries of the page', (_, primaries, light, shown) => {
  const [red, green, blue] = light;
  const read = lightOfStill(still(primaries, [coded(red), coded(green), coded(blue)]));
  const found = read === null ? null : shownAs(read.inBt709(read)).samples;
  for (const [channel, code] of shown.entries())
    expect(Math.abs((found?.[channel] ?? -99) - code)).toBeLessThanOrEqual(2);
});

test('what is no still, or is cut off, is no picture', () => {
  const whole = still(1, [1, 2, 3]);
  expect(lightOfStill(whole)).not.toBeNull();
  expect(lightOfStill(whole.subarray(0, whole.length - 20))).toBeNull();
  expect(lightOfStill(Buffer.from('not a picture'))).toBeNull();
});

test('the room of a page: fewer pixels for more clips, lower quality for rich pictures, none where none fit', () => {
  expect([300, 400, 401, 2000, 2001].map((clips) => boxFor(clips)?.width ?? null)).toEqual([
    320,
    320,
    240,
    160,
    null,
  ]);
  const rich = Array.from({ length: 4 }, (_, index) => pictureWithDetail(320, 180, index));
  const whole = packed(rich) ?? [];
  const bytes = (files: readonly string[]): number => files.reduce((sum, one) => sum + one.length, 0);
  // What a page of four clips leaves for pictures, and half as much.
  const words = 150_000 + 4 * 1_500;
  const half = packed(rich, words + bytes(whole) / 2) ?? [];
  expect(half).toHaveLength(4);
  expect(bytes(half)).toBeLessThanOrEqual(bytes(whole) / 2);
  expect(bytes(half)).toBeGreaterThan(bytes(whole) / 4);
  expect(packed(rich, words + 4_000)).toBeNull();
  expect(packed([])).toEqual([]);
});

describe('contact sheets', () => {
  const clip = { start: '10:00:00:00', length: '4.0 s', verdict: 'ready', picture: null } as const;
  const request = { day: 'day-07', roll: 'A001', verdict: 'ready', copies: 2, sheet: 1, sheets: 1 } as const;

  test.each([1, 3, 5, 6, CLIPS_OF_A_SHEET])(
    '%i clips lie within the sheet, with names of every kind',
    (count) => {
      const clips = Array.from({ length: count }, (_, index) => ({
        ...clip,
        name: HOSTILE[index % HOSTILE.length] as string,
      }));
      const sheet = sheetPicture({ ...request, roll: HOSTILE[0], clipsOfRoll: count, clips });
      expect(sheet.samples.length).toBe(3 * sheet.width * sheet.height);
      expect(sheet.width).toBeLessThan(2200);
    },
  );

  test('pictures are in their places as they are, and a held clip is framed and named so', () => {
    const picture = flat(384, 216, [10, 200, 90]);
    const [ready, held] = (['ready', 'held'] as const).map((verdict) =>
      sheetPicture({ ...request, clipsOfRoll: 1, clips: [{ ...clip, name: 'A001C001', picture, verdict }] }),
    ) as [Picture, Picture];
    const countOf = ({ samples }: Picture, [r, g, b]: readonly number[]): number => {
      let found = 0;
      for (let at = 0; at < samples.length; at += 3)
        if (samples[at] === r && samples[at + 1] === g && samples[at + 2] === b) found += 1;
      return found;
    };
    expect(countOf(ready, [10, 200, 90])).toBe(384 * 216);
    expect(countOf(held, [10, 200, 90])).toBe(384 * 216);
    // The frame of four pixels around it, at the least: letters have that colour too.
    expect(countOf(held, [157, 38, 26])).toBeGreaterThan(4 * 2 * (384 + 216));
    expect(countOf(ready, [157, 38, 26])).toBe(0);
  });

  test('names that are too long lose their middle, and what the font lacks is written out', () => {
    expect(fittedWords('A001C001_310304_R2CD', 12)).toBe('A001C0…_R2CD');
    expect(fittedWords('A001', 12)).toBe('A001');
    expect(fittedWords('\u{10ffff}', 40)).toBe('\\u{10ffff}');
  });
});
