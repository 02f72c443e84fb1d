/** Our own reading of Matroska and FFV1, against files of ffmpeg's and what ffprobe says of them; and what it refuses. */
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { crc32 } from '../../check/crc32.ts';
import { Ffv1Error, pictureStream, readConfiguration, readFrame, remainder } from '../../check/ffv1.ts';
import { MatroskaError, readMatroska } from '../../check/matroska.ts';
import { planesOf } from '../../media/pixel-format.ts';
import { freshFolder } from '../support/folder.ts';
import { factsOf } from '../support/make.ts';
import { ffmpeg } from '../support/media.ts';

const ffv1 = ['-c:v', 'ffv1', '-level', '3', '-g', '1', '-slices', '6', '-slicecrc', '1'];
async function file(options: readonly string[], { filter = 'null', name = 'a.mkv' } = {}): Promise<string> {
  const path = join(freshFolder('matroska'), name);
  await ffmpeg(
    '-f',
    'lavfi',
    '-i',
    'testsrc2=s=64x48:r=24000/1001',
    '-f',
    'lavfi',
    '-i',
    'sine=r=48000',
    '-shortest',
    '-t',
    '0.5',
    '-vf',
    filter,
    '-c:a',
    'pcm_s16le',
    ...options,
    path,
  );
  return path;
}

test('checksums have the check values of their catalogues: CRC-32 of ISO 3309 cbf43926, of the same polynomial highest bit first from 0 89a1897f', () => {
  // "123456789"; Williams, A painless guide to CRC error detection algorithms, and the CRC catalogues that follow it (CRC-32/ISO-HDLC, CRC-32/CKSUM before its last step). The second was worked out by long division besides.
  const bytes = Buffer.from('123456789', 'latin1');
  expect(crc32(bytes).toString(16)).toBe('cbf43926');
  expect(remainder(bytes).toString(16)).toBe('89a1897f');
  const parity = Buffer.alloc(4);
  parity.writeUInt32BE(remainder(bytes));
  expect(remainder(Buffer.concat([bytes, parity]))).toBe(0);
});

test.each([
  ['yuv420p', 'null'],
  ['yuv422p10le', 'null'],
  ['yuv444p12le', 'null'],
  ['yuva420p', 'null'],
  ['gray16le', 'null'],
  ['gbrp10le', 'null'],
  ['bgr0', 'null'],
  ['yuv411p', 'setfield=tff'],
  ['yuv410p', 'setfield=bff'],
  ['yuv420p16le', 'setsar=32/27'],
])('the record of %s with %s says what ffprobe reads', async (format, filter) => {
  const path = await file([...ffv1, '-pix_fmt', format], { filter });
  const { video } = await factsOf(path);
  const { configuration, frame } = pictureStream(await readMatroska(path));
  const [, chroma] = planesOf(format);
  const layout = {
    colours: /^(gbr|bgr)/.test(format) ? 'rgb' : 'ycbcr',
    chroma: !format.startsWith('gray'),
    alpha: format.startsWith('yuva'),
    subsampling: format.startsWith('gray') ? configuration.subsampling : [chroma?.across, chroma?.down],
  };
  expect(configuration).toMatchObject({
    version: 3,
    microVersion: 4,
    bits: video.bitDepth,
    slices: [3, 2],
    sliceChecksums: true,
    intra: true,
    ...layout,
  });
  expect(frame).toEqual({
    key: true,
    slices: 6,
    structure: video.fieldOrder,
    pixelAspect: [video.pixelAspect.num, video.pixelAspect.den],
  });
});

test.each([
  ['0', 0],
  ['range_def', 1],
  ['range_tab', 2],
])('coder %s is reported by its number', async (coder, expected) => {
  const path = await file([...ffv1, '-coder', coder, '-context', '1']);
  expect(pictureStream(await readMatroska(path)).configuration.coder).toBe(expected);
});

test('tracks, blocks, tags, step and length of a file', async () => {
  const path = await file([...ffv1, '-metadata', 'timecode=01:00:00:00', '-metadata:s:a:0', 'comment=ü']);
  const { docType, timestampScale, duration, tracks, tags } = await readMatroska(path);
  expect({ docType, timestampScale }).toEqual({ docType: 'matroska', timestampScale: 1_000_000 });
  expect(duration).toBeGreaterThan(490);
  const facts = await factsOf(path);
  expect(tracks.map(({ type, codecId }) => [type, codecId])).toEqual([
    [1, 'V_MS/VFW/FOURCC'],
    [2, 'A_PCM/INT/LIT'],
  ]);
  expect(tracks[0]?.times).toHaveLength(facts.video.frames);
  expect(tracks[0]?.times.at(-1)).toBe(facts.video.endTime - 41);
  expect(tracks[0]?.defaultDuration).toBe(41_708_333);
  expect(tags).toContainEqual({ track: null, name: 'TIMECODE', value: '01:00:00:00' });
  expect(tags).toContainEqual({ track: tracks[1]?.uid, name: 'COMMENT', value: 'ü' });
});

describe('refused', () => {
  test.each<[title: string, options: readonly string[], said: RegExp]>([
    ['a live stream, whose lengths are not known', [...ffv1, '-live', '1'], /unknown length/],
    ['another form', ['-c:v', 'mpeg4', '-f', 'mov'], /no element|no EBML header/],
    [
      'chapters and attachments, which we never write',
      [...ffv1, '-attach', 'LICENSE', '-metadata:s:t', 'mimetype=text/plain'],
      /0x1941a469 in the segment/,
    ],
  ])('%s', async (_title, options, said) => {
    await expect(readMatroska(await file(options))).rejects.toThrow(said);
  });

  test.each<[title: string, options: readonly string[], said: RegExp]>([
    ['another codec', ['-c:v', 'mpeg4'], /a picture track of/],
    [
      'version 1, which has no record',
      ['-c:v', 'ffv1', '-level', '1', '-slicecrc', '0'],
      /a picture track of|configuration record|version/,
    ],
  ])('%s', async (_title, options, said) => {
    const read = await readMatroska(await file(options));
    expect(() => pictureStream(read)).toThrow(said);
    expect(() => pictureStream(read)).toThrow(Ffv1Error);
  });

  test('one bit of a record, of a slice, of any part of the file', async () => {
    const path = await file([...ffv1]);
    const whole = readFileSync(path);
    const read = await readMatroska(path);
    const record = Buffer.from((read.tracks[0]?.codecPrivate ?? Buffer.alloc(0)).subarray(40));
    const configuration = readConfiguration(record);
    for (const at of [0, record.length >> 1, record.length - 1]) {
      const spoiled = Buffer.from(record);
      spoiled[at] = (spoiled[at] as number) ^ 4;
      expect(() => readConfiguration(spoiled)).toThrow(/checksum/);
    }
    const frame = Buffer.from(read.firstFrame ?? Buffer.alloc(0));
    frame[frame.length >> 1] = (frame[frame.length >> 1] as number) ^ 1;
    expect(() => readFrame(frame, configuration)).toThrow(Ffv1Error);
    // Behind the header of the first part, in the middle, and near the end.
    for (const at of [0x100, whole.length >> 1, whole.length - 20]) {
      const spoiled = Buffer.from(whole);
      spoiled[at] = (spoiled[at] as number) ^ 2;
      writeFileSync(path, spoiled);
      await expect(readMatroska(path)).rejects.toThrow(MatroskaError);
    }
  });

  test.each([1, 100, 5000])('%d bytes missing at the end', async (missing) => {
    const path = await file([...ffv1]);
    writeFileSync(path, readFileSync(path).subarray(0, -missing));
    await expect(readMatroska(path)).rejects.toThrow(MatroskaError);
  });
});
