/** First bytes of files that general-purpose programs write (ffmpeg), and literals from the standards named in signatures.ts. */
import { closeSync, mkdirSync, openSync, readSync, statSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { contentOf, contentsOf, HEAD_BYTES } from '../../coordinator/survey/signatures.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { ffmpeg } from '../support/media.ts';

function head(path: string): [Buffer, number] {
  const handle = openSync(path, 'r');
  const buffer = Buffer.alloc(HEAD_BYTES);
  const read = readSync(handle, buffer, 0, HEAD_BYTES, 0);
  closeSync(handle);
  return [buffer.subarray(0, read), statSync(path).size];
}

describe('files that ffmpeg writes', () => {
  const folder = join(sharedFolder, 'signatures');
  const outputs: [name: string, kind: string, form: string, ...options: string[]][] = [
    ['a.mov', 'movie', 'QuickTime or MP4', '-c:v', 'mjpeg'],
    ['a.mp4', 'movie', 'QuickTime or MP4', '-c:v', 'mpeg4'],
    ['a.mkv', 'movie', 'Matroska', '-c:v', 'ffv1'],
    ['a.webm', 'movie', 'WebM', '-c:v', 'libvpx'],
    ['a.mxf', 'movie', 'MXF', '-c:v', 'mpeg2video'],
    ['a.avi', 'movie', 'AVI', '-c:v', 'mjpeg'],
    ['a.ts', 'movie', 'an MPEG transport stream', '-c:v', 'mpeg2video'],
    [
      'a.m2ts',
      'movie',
      'an MPEG transport stream',
      '-c:v',
      'mpeg2video',
      '-f',
      'mpegts',
      '-mpegts_m2ts_mode',
      '1',
    ],
    ['a.tif', 'frame', 'TIFF or DNG', '-frames:v', '1', '-update', '1'],
    ['a.exr', 'frame', 'OpenEXR', '-frames:v', '1', '-pix_fmt', 'gbrpf32le', '-update', '1'],
    ['a.dpx', 'frame', 'DPX', '-frames:v', '1', '-update', '1'],
  ];
  beforeAll(async () => {
    mkdirSync(folder, { recursive: true });
    await ffmpeg(
      '-f',
      'lavfi',
      '-i',
      'testsrc2=s=64x64:r=25:d=0.2',
      ...outputs.flatMap(([name, , , ...options]) => [...options, join(folder, name)]),
    );
    await ffmpeg('-f', 'lavfi', '-i', 'sine=d=0.1', join(folder, 'a.wav'));
  });
  test.each(outputs)('%s is a %s: %s', (name, kind, form) => {
    expect(contentOf(...head(join(folder, name)))).toEqual({ kind, form });
  });
  test('a.wav is audio', () => {
    expect(contentOf(...head(join(folder, 'a.wav')))).toEqual({ kind: 'audio', form: 'WAVE' });
  });
});

test.each<[string, Buffer, number]>([
  ['nothing', Buffer.alloc(0), 0],
  ['a text whose fifth letter begins `free`', Buffer.from('The free bell rings at noon, and rings.'), 39],
  ['a text of the letter G, shorter than five packets', Buffer.alloc(200, 'G'), 200],
  ['AppleDouble (RFC 1740)', Buffer.from('0005160700020000', 'hex'), 8],
  ['a picture in an ISO file', Buffer.concat([Buffer.from([0, 0, 0, 24]), Buffer.from('ftypheic')]), 4096],
  [
    'an EBML file of another kind',
    Buffer.from('1a45dfa39f4286810142f7810142f2810442f381084282836f6464', 'hex'),
    4096,
  ],
])('%s is none of them', (_, bytes, size) => {
  expect(contentOf(bytes, size)).toBeNull();
});

test('what cannot be looked into is none of them, and is named with the reason', async () => {
  const folder = freshFolder('unread');
  mkdirSync(join(folder, 'a folder'));
  const unread: [string, string][] = [];
  const found = await contentsOf(folder, ['a folder', 'absent'], (path, code) => unread.push([path, code]));
  expect(found.size).toBe(0);
  expect(unread.sort()).toEqual([
    ['a folder', 'EISDIR'],
    ['absent', 'ENOENT'],
  ]);
});
