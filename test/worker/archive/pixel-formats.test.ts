/** The archive form: every pixel format that is taken comes back to the bit. */
import { execFileSync } from 'node:child_process';
import { mkdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { keptPixelFormats, keptPixels } from '../../../profiles/lossless-pixel-formats.ts';
import { sharedFolder } from '../../support/folder.ts';
import { ffmpeg } from '../../support/media.ts';

describe('every pixel format that is taken', () => {
  test('is one that this encoder takes as it is', () => {
    const taken =
      /Supported pixel formats: (.*)/
        .exec(execFileSync('ffmpeg', ['-v', 'error', '-h', 'encoder=ffv1'], { encoding: 'utf8' }))?.[1]
        ?.trim()
        .split(' ') ?? [];
    expect(taken.length).toBeGreaterThan(40);
    expect(
      keptPixelFormats
        .map((format) => keptPixels(format)?.encodedAs ?? '')
        .filter((format) => !taken.includes(format)),
    ).toEqual([]);
    // And no other is left out.
    expect(taken.filter((format) => keptPixels(format) === null)).toEqual([]);
  });

  /** Every format but those whose older name says the range as well. */
  const formats = keptPixelFormats.filter((format) => !format.startsWith('yuvj'));
  const raw = (format: string): string[] => ['-f', 'rawvideo', '-pix_fmt', format, '-s', '36x28', '-r', '25'];
  const hashed = (pixelFormat: string): string[] => [
    ...['-pix_fmt', pixelFormat, '-c:v', 'rawvideo', '-f', 'hash', '-hash', 'md5'],
  ];
  let folder = '';
  /** Files of all formats by a few programs: a start costs more than the three small pictures. */
  beforeAll(async () => {
    folder = join(sharedFolder, 'archive-pixels');
    mkdirSync(folder, { recursive: true });
    const path = (format: string, ending: string): string => join(folder, `${format}.${ending}`);
    // Noise, so that no plane is flat.
    await ffmpeg(
      ...['-f', 'lavfi', '-i', 'testsrc2=s=36x28:r=25,noise=alls=20:allf=t'],
      ...formats.flatMap((format) => [
        ...['-map', '0:v', '-frames:v', '3', '-pix_fmt', format, '-f', 'rawvideo', path(format, 'raw')],
      ]),
    );
    await ffmpeg(
      ...formats.flatMap((format) => [...raw(format), '-i', path(format, 'raw')]),
      ...formats.flatMap((format, index) => [
        ...['-map', `${index}:v`, '-c:v', 'ffv1', '-level', '3', '-coder', '1', '-g', '1'],
        ...['-slices', '16', '-slicecrc', '1', '-pix_fmt', format, path(format, 'mkv')],
      ]),
    );
    const comparedIn = (format: string): string => keptPixels(format)?.comparedIn ?? '';
    await ffmpeg(
      ...formats.flatMap((format) => ['-i', path(format, 'mkv'), ...raw(format), '-i', path(format, 'raw')]),
      ...formats.flatMap((format, index) => [
        ...['-map', `${2 * index}:v`, ...hashed(comparedIn(format)), path(format, 'kept.md5')],
        ...['-map', `${2 * index + 1}:v`, ...hashed(comparedIn(format)), path(format, 'given.md5')],
      ]),
    );
  }, 240_000);

  test.each(formats.map((format) => [format]))('%s comes back the same to the bit', (format) => {
    const [kept, given] = (['kept', 'given'] as const).map((name) =>
      readFileSync(join(folder, `${format}.${name}.md5`), 'utf8').trim(),
    );
    expect(given).toMatch(/^MD5=[0-9a-f]{32}$/);
    expect(kept).toBe(given);
  });

  test('and only those that lay out an opaque picture alike are the same bytes', () => {
    // Were one file read in the place of all, every line above would pass. Without alpha in the source bgra is bgr0 with the filler full.
    const bytes = formats.map((format) => readFileSync(join(folder, `${format}.raw`)).toString('base64'));
    expect(
      formats.filter(
        (_, index) => bytes.indexOf(bytes[index] as string) !== bytes.lastIndexOf(bytes[index] as string),
      ),
    ).toEqual(formats.filter((format) => format === 'bgr0' || format === 'bgra'));
  });

  test('each is read back under the name that is written down for it', () => {
    // One file with a stream for each, copied without another encode.
    const all = join(folder, 'all.mkv');
    execFileSync('ffmpeg', [
      ...['-v', 'error', '-y'],
      ...formats.flatMap((format) => ['-i', join(folder, `${format}.mkv`)]),
      ...formats.flatMap((_, index) => ['-map', `${index}:v`]),
      ...['-c', 'copy', all],
    ]);
    const reported = execFileSync(
      'ffprobe',
      ['-v', 'error', '-show_entries', 'stream=pix_fmt', '-of', 'csv=p=0', all],
      {
        encoding: 'utf8',
      },
    );
    expect(reported.trim().split('\n')).toEqual(formats.map((format) => keptPixels(format)?.readBackAs));
  });
});
