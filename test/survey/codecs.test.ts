/** No frame to be had is one thing, a build without the decoder another. */
import { readFileSync, mkdirSync, truncateSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { decodedCodecs, lacksDecoder } from '../../coordinator/survey/codecs.ts';
import { surveyClip } from '../../coordinator/survey/index.ts';
import type { Clip } from '../../ledger/clip.ts';
import { locateTools } from '../../process/locate.ts';
import { freshFolder } from '../support/folder.ts';
import { ffmpeg } from '../support/media.ts';

test('the list of codecs says which are decoded (form: ffmpeg documentation, main options, -codecs)', () => {
  const list = [
    ' D..... = Decoding supported',
    ' -------',
    ' D.VI.S jpegls               JPEG-LS',
    ' ..VIL. not_here             of which there is no decoder',
    ' DEV.LS h264                 H.264 (decoders: h264 h264_v4l2m2m )',
  ].join('\n');
  const found = decodedCodecs(list);
  expect(found.has('h264')).toBe(true);
  expect(found.has('jpegls')).toBe(true);
  expect(found.has('not_here')).toBe(false);
});

test.each([
  ['h264', false],
  ['dnxhd', false],
  ['unknown', false],
  ['[0][0][0][0]', false],
  ['of_no_build', true],
])('this build lacks a decoder of %s: %s', async (codec, lacks) => {
  expect(await lacksDecoder((await locateTools()).ffprobe.path, codec)).toBe(lacks);
});

async function codesOf(folder: string, file: string): Promise<string[]> {
  const clip: Clip = { id: 'c', name: 'c', place: { kind: 'movie', file }, bytes: 1, contentDigest: 'd' };
  return (await surveyClip(clip, folder, await locateTools())).findings.map(({ code }) => code);
}

test('a file that is a header only asks for no other build', async () => {
  const folder = freshFolder('codecs');
  mkdirSync(folder, { recursive: true });
  // An empty movie of a codec that every build decodes: fragments were to follow.
  await ffmpeg(
    ...['-f', 'lavfi', '-i', 'testsrc2=s=64x64:r=25:d=0.2', '-c:v', 'libx264', '-preset', 'ultrafast'],
    ...['-movflags', 'frag_keyframe+empty_moov', join(folder, 'whole.mp4')],
  );
  const bytes = readFileSync(join(folder, 'whole.mp4'));
  const header = bytes.subarray(0, bytes.indexOf('moof') - 4);
  // Without the parameter sets of H.264 (the avcC box, ISO/IEC 14496-15) no pixel format can be known.
  const bare = Buffer.from(header);
  bare.write('free', bare.indexOf('avcC'), 'latin1');
  writeFileSync(join(folder, 'header.mp4'), bare);
  expect(await codesOf(folder, 'header.mp4')).toEqual(['clip-picture-unreadable']);
});

test('a movie with a damaged header is still a movie', async () => {
  const folder = freshFolder('codecs');
  await ffmpeg(
    ...[
      '-f',
      'lavfi',
      '-i',
      'testsrc2=s=64x64:r=25:d=0.2',
      '-c:v',
      'ffv1',
      '-level',
      '3',
      join(folder, 'a.mkv'),
    ],
  );
  truncateSync(join(folder, 'a.mkv'), 60);
  expect(await codesOf(folder, 'a.mkv')).toEqual(['clip-unreadable']);
});
