/** Hashes that a program tells on a pipe, cut off at every byte: never another hash than the one that was told, only fewer. */
import { Readable } from 'node:stream';
import { expect, test } from 'vitest';
import { readPictureHashes } from '../../proof/exact.ts';
import { readBitstream } from '../../proof/bitstream.ts';
import { runForOutput } from '../../process/run.ts';
import { mediaTools } from '../support/make.ts';

async function printed(...output: string[]): Promise<Buffer> {
  const { ffmpeg } = await mediaTools();
  const run = await runForOutput(ffmpeg.path, [
    ...[
      '-v',
      'error',
      '-f',
      'lavfi',
      '-i',
      'testsrc2=s=32x32:r=24:d=0.125',
      '-f',
      'lavfi',
      '-i',
      'sine=d=0.1',
    ],
    ...output,
    '-',
  ]);
  expect(run.exitCode).toBe(0);
  return run.stdout;
}

const cuts = (whole: Buffer): Buffer[] =>
  Array.from({ length: whole.length }, (_, bytes) => whole.subarray(0, bytes));

test('of packets, stream by stream', async () => {
  const whole = await printed('-f', 'streamhash', '-hash', 'murmur3');
  const { streams } = await readBitstream(Readable.from([whole]));
  expect(streams.map(({ kind }) => kind)).toEqual(['v', 'a']);
  for (const part of cuts(whole)) {
    const read = await readBitstream(Readable.from([part]));
    expect(read.streams).toEqual(streams.slice(0, read.streams.length));
    expect(read.streams.length).toBeLessThan(streams.length);
  }
});

test('of pictures, frame by frame', async () => {
  const whole = await printed('-map', '0:v', '-f', 'framehash', '-hash', 'sha256');
  const pictures = await readPictureHashes(Readable.from([whole]));
  expect(pictures.length).toBe(3 * 32);
  for (const part of cuts(whole)) {
    const read = await readPictureHashes(Readable.from([part]));
    expect(pictures.subarray(0, read.length).equals(read)).toBe(true);
    expect(read.length).toBeLessThan(pictures.length);
  }
});
