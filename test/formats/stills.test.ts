/**
 * Headers of stills. DPX and TIFF files are ffmpeg's own; film and television headers, which ffmpeg does not write, are
 * put in by hand and read back by ffprobe. EXR: a file of another project's test suite (SOURCES.md).
 */
import { copyFileSync, readFileSync, statSync, truncateSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { describe, expect, test } from 'vitest';
import { readStill } from '../../media/sequence/read.ts';
import { StillDamage, type StillHeader, storedLabel } from '../../media/formats/still.ts';
import { runForOutput } from '../../process/run.ts';
import { freshFolder } from '../support/folder.ts';
import { ffmpeg } from '../support/media.ts';

const fixtures = resolve('test/fixtures');

async function header(path: string): Promise<StillHeader> {
  return (await readStill(path, path)).header;
}

async function makeStill(name: string, ...options: string[]): Promise<string> {
  const path = join(freshFolder(), name);
  await ffmpeg(
    '-f',
    'lavfi',
    '-i',
    'testsrc2=s=322x182:r=24:d=1',
    '-frames:v',
    '1',
    '-update',
    '1',
    ...options,
    path,
  );
  return path;
}

interface DpxExtras {
  readonly filmRate?: number;
  readonly televisionRate?: number;
  readonly timecode?: number;
}

/** Gives an ffmpeg DPX (1664-byte header) the film and television headers of ST 268, undefined but for `extras`. */
function extendDpx(path: string, extras: DpxExtras): void {
  const bytes = readFileSync(path);
  const little = bytes.toString('latin1', 0, 4) === 'XPDS';
  const added = Buffer.concat([bytes.subarray(0, 1664), Buffer.alloc(384, 0xff), bytes.subarray(1664)]);
  const u32 = (value: number, at: number): number =>
    little ? added.writeUInt32LE(value, at) : added.writeUInt32BE(value, at);
  const f32 = (value: number, at: number): number =>
    little ? added.writeFloatLE(value, at) : added.writeFloatBE(value, at);
  u32(2048, 4);
  u32(added.length, 16);
  // Element 1 states its own offset, which ffmpeg's reader leaves aside.
  u32(2048, 808);
  if (extras.filmRate !== undefined) f32(extras.filmRate, 1724);
  if (extras.televisionRate !== undefined) f32(extras.televisionRate, 1940);
  if (extras.timecode !== undefined) u32(extras.timecode, 1920);
  writeFileSync(path, added);
}

describe('DPX', () => {
  test.each([
    ['10 bits, big end first', 'gbrp10be', 'SDPX'],
    ['10 bits, little end first', 'gbrp10le', 'XPDS'],
    ['8 bits', 'rgb24', 'XPDS'],
    ['12 bits', 'gbrp12be', 'SDPX'],
    ['16 bits', 'rgb48be', 'SDPX'],
  ])('%s: raster, and every byte of the picture needed', async (_name, format, magic) => {
    const path = await makeStill('a.dpx', '-pix_fmt', format);
    expect(readFileSync(path).toString('latin1', 0, 4)).toBe(magic);
    expect(await header(path)).toMatchObject({
      format: 'dpx',
      kind: 'encoded',
      width: 322,
      height: 182,
      rate: null,
      timecode: null,
    });
    truncateSync(path, Math.floor(statSync(path).size * 0.97));
    await expect(header(path)).rejects.toThrow(/bytes, the picture ends at/);
  });

  test('10-bit lines need whole words: one byte less is seen', async () => {
    const path = await makeStill('a.dpx', '-pix_fmt', 'gbrp10be');
    expect((await header(path)).neededBytes).toBe(statSync(path).size);
  });

  test.each([
    ['gbrp10be', 'big end first'],
    ['gbrp10le', 'little end first'],
  ])('%s (%s): film rate and timecode, as ffprobe reads them too', async (format) => {
    const path = await makeStill('a.dpx', '-pix_fmt', format);
    extendDpx(path, { filmRate: 24000 / 1001, timecode: 0x01020304 });
    const read = await header(path);
    expect(read.rate).toEqual({ num: 24000, den: 1001 });
    expect(read.timecode).toEqual({ hours: 1, minutes: 2, seconds: 3, frames: 4, drop: false });
    const probe = await runForOutput('ffprobe', [
      '-loglevel',
      'error',
      '-show_entries',
      'frame_tags=timecode',
      '-of',
      'csv=p=0',
      path,
    ]);
    expect(probe.stdout.toString('utf8').trim().replace(/,$/, '')).toBe(
      read.timecode === null ? '' : storedLabel(read.timecode),
    );
  });

  test('television rate when there is no film rate', async () => {
    const path = await makeStill('a.dpx', '-pix_fmt', 'gbrp10be');
    extendDpx(path, { televisionRate: 25, timecode: 0x23595924 });
    expect(await header(path)).toMatchObject({
      rate: { num: 25, den: 1 },
      timecode: { hours: 23, minutes: 59, seconds: 59, frames: 24 },
    });
  });

  test('undefined fields are nothing', async () => {
    const path = await makeStill('a.dpx', '-pix_fmt', 'gbrp10be');
    extendDpx(path, {});
    expect(await header(path)).toMatchObject({ rate: null, timecode: null });
  });

  test('another file of that name is refused', async () => {
    const path = join(freshFolder(), 'a.dpx');
    writeFileSync(path, Buffer.alloc(4096, 0x20));
    await expect(header(path)).rejects.toThrow('no DPX magic number');
    writeFileSync(path, '');
    await expect(header(path)).rejects.toThrow('0 bytes');
  });
});

describe('OpenEXR', () => {
  // timeCode 01:18:19:06, 24 frames/s and the reel name are what the file's origin says of it (SOURCES.md).
  test('a real container frame: window, rate, timecode, reel, light values', async () => {
    const read = await header(join(fixtures, 'exr/aces-timecode-64x64.exr'));
    expect(read).toMatchObject({
      format: 'exr',
      kind: 'scene-linear',
      width: 64,
      height: 64,
      rate: { num: 24, den: 1 },
    });
    expect(read.timecode === null ? '' : storedLabel(read.timecode)).toBe('01:18:19:06');
    expect(read.reel).not.toBeNull();
  });

  test.each(['none', 'rle', 'zip1', 'zip16'])(
    'compression %s: whole is whole, cut is cut',
    async (compression) => {
      const path = await makeStill(
        'a.exr',
        '-compression',
        compression,
        '-format',
        'half',
        '-pix_fmt',
        'gbrpf32le',
      );
      const read = await header(path);
      expect(read).toMatchObject({ kind: 'scene-linear', width: 322, height: 182 });
      expect(read.neededBytes).toBe(statSync(path).size);
      truncateSync(path, statSync(path).size - 1);
      await expect(header(path)).rejects.toThrow(/bytes, the picture ends at/);
      truncateSync(path, 200);
      await expect(header(path)).rejects.toThrow();
    },
  );

  test("a damaged file of the library's own tests is refused", async () => {
    await expect(header(join(fixtures, 'damaged/openexr_comp_early_eof_piz.exr'))).rejects.toThrow();
  });

  // By the header's data window alone; the first would be a table of 2 GiB, over which node:fs ends the whole process.
  test.each([0x0fff_ffff, 0x7fff_fffe])(
    'a data window that ends at line %i in a small file is damage, found before anything is set aside for it',
    async (last) => {
      const bytes = readFileSync(join(fixtures, 'exr/aces-timecode-64x64.exr'));
      const name = Buffer.from('dataWindow\0box2i\0', 'latin1');
      bytes.writeInt32LE(last, bytes.indexOf(name) + name.length + 4 + 12);
      const path = join(freshFolder(), 'a.exr');
      writeFileSync(path, bytes);
      const before = process.memoryUsage().arrayBuffers;
      await expect(header(path)).rejects.toThrow(StillDamage);
      expect(process.memoryUsage().arrayBuffers - before).toBeLessThan(8 * 1024 * 1024);
    },
  );

  test('an entry of the table of chunks that points beyond the file is damage', async () => {
    const path = await makeStill('a.exr', '-compression', 'zip16', '-pix_fmt', 'gbrpf32le');
    const bytes = readFileSync(path);
    const end = bytes.indexOf(Buffer.from('lavc\0', 'latin1')) + 5;
    bytes.writeBigUInt64LE(0xffff_ffff_ffff_ffffn, end + 8);
    writeFileSync(path, bytes);
    await expect(header(path)).rejects.toThrow(/lies at byte/);
  });

  test('a chunk that was never written is seen', async () => {
    const path = await makeStill('a.exr', '-compression', 'zip16', '-pix_fmt', 'gbrpf32le');
    const bytes = readFileSync(path);
    // The last attribute that ffmpeg writes names itself; then comes the header's closing zero, then the table of chunks.
    const end = bytes.indexOf(Buffer.from('lavc\0', 'latin1')) + 5;
    bytes.writeBigUInt64LE(0n, end + 8);
    writeFileSync(path, bytes);
    await expect(header(path)).rejects.toThrow(/never written/);
  });
});

/** A minimal TIFF 6.0 file with one directory of the given fields; values of more than four bytes follow it. */
function buildTiff(
  little: boolean,
  fields: readonly { tag: number; type: number; values: readonly number[] }[],
  picture: Buffer,
): Buffer {
  const sizes: Readonly<Record<number, number>> = { 1: 1, 2: 1, 3: 2, 4: 4, 10: 4 };
  const directory = Buffer.alloc(2 + fields.length * 12 + 4);
  const u16 = (buffer: Buffer, value: number, at: number): number =>
    little ? buffer.writeUInt16LE(value, at) : buffer.writeUInt16BE(value, at);
  const u32 = (buffer: Buffer, value: number, at: number): number =>
    little ? buffer.writeUInt32LE(value, at) : buffer.writeUInt32BE(value, at);
  const head = Buffer.alloc(8);
  head.write(little ? 'II' : 'MM', 'latin1');
  u16(head, 42, 2);
  u32(head, 8 + picture.length, 4);
  u16(directory, fields.length, 0);
  const beyond: Buffer[] = [];
  let next = 8 + picture.length + directory.length;
  for (const [index, field] of fields.entries()) {
    const size = sizes[field.type] as number;
    const value = Buffer.alloc(Math.max(4, size * field.values.length));
    for (const [at, number] of field.values.entries()) {
      if (size === 1) value.writeUInt8(number, at);
      else if (size === 2) u16(value, number, at * 2);
      else u32(value, number, at * 4);
    }
    const entry = 2 + index * 12;
    u16(directory, field.tag, entry);
    u16(directory, field.type, entry + 2);
    u32(directory, field.type === 10 ? field.values.length / 2 : field.values.length, entry + 4);
    if (value.length > 4) {
      u32(directory, next, entry + 8);
      beyond.push(value);
      next += value.length;
    } else value.copy(directory, entry + 8);
  }
  return Buffer.concat([head, picture, directory, ...beyond]);
}

const cfa = (pieceEnd = 128): { tag: number; type: number; values: number[] }[] => [
  { tag: 254, type: 4, values: [0] },
  { tag: 256, type: 4, values: [16] },
  { tag: 257, type: 4, values: [8] },
  { tag: 262, type: 3, values: [32803] },
  { tag: 273, type: 4, values: [8] },
  { tag: 279, type: 4, values: [pieceEnd] },
  { tag: 50706, type: 1, values: [1, 4, 0, 0] },
  { tag: 51043, type: 1, values: [0x04, 0x03, 0x02, 0x01, 0, 0, 0, 0] },
  { tag: 51044, type: 10, values: [24000, 1001] },
  { tag: 51081, type: 2, values: [...Buffer.from('A001_BELL\0')] },
];

describe('TIFF and DNG', () => {
  test('a TIFF of ffmpeg: raster, and where the picture ends', async () => {
    const path = await makeStill('a.tif', '-pix_fmt', 'rgb48le');
    const read = await header(path);
    expect(read).toMatchObject({
      format: 'tiff',
      kind: 'encoded',
      width: 322,
      height: 182,
      rate: null,
      timecode: null,
    });
    expect(read.neededBytes).toBeLessThanOrEqual(statSync(path).size);
  });

  // Tags of the DNG specification; 04 03 02 01 is 01:02:03:04, as exiftool 12.57 prints it.
  test.each([true, false])(
    'a DNG with sensor values, little end first %s: rate, timecode, reel',
    async (little) => {
      const path = join(freshFolder(), 'a.dng');
      writeFileSync(path, buildTiff(little, cfa(), Buffer.alloc(128)));
      expect(await header(path)).toMatchObject({
        format: 'dng',
        kind: 'camera-raw',
        width: 16,
        height: 8,
        rate: { num: 24000, den: 1001 },
        timecode: { hours: 1, minutes: 2, seconds: 3, frames: 4, drop: false },
        reel: 'A001_BELL',
      });
    },
  );

  test('a real linear DNG is sensor values as well', async () => {
    expect(await header(join(fixtures, 'raw/linear-1mp.dng'))).toMatchObject({
      format: 'dng',
      kind: 'camera-raw',
    });
  });

  test('a picture beyond the end of the file is seen', async () => {
    const path = join(freshFolder(), 'a.dng');
    writeFileSync(path, buildTiff(true, cfa(100_000), Buffer.alloc(128)));
    await expect(header(path)).rejects.toThrow(/picture ends at 100008/);
  });

  test('a file cut before its directory is damaged', async () => {
    const path = join(freshFolder(), 'a.dng');
    copyFileSync(join(fixtures, 'raw/linear-1mp.dng'), path);
    truncateSync(path, 6);
    await expect(header(path)).rejects.toThrow('no TIFF magic number');
    writeFileSync(path, buildTiff(true, cfa(), Buffer.alloc(128)).subarray(0, 150));
    await expect(header(path)).rejects.toThrow(/cut off|beyond the end/);
  });
});
