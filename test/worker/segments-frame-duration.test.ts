/** How long a frame of a joined Matroska file is said to be, against ffmpeg's own files of the same rate. */
import { copyFileSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import {
  frameDurationIn,
  sayFrameDuration,
  withFrameDuration,
} from '../../worker/segments/frame-duration.ts';
import { freshFolder } from '../support/folder.ts';
import { ffmpeg } from '../support/media.ts';

/** Two frames as its encoder writes them, and the same copied, as a reader takes the rate out of the file. */
async function madeAndCopied(rate: string): Promise<{ made: string; copied: string }> {
  const folder = freshFolder('frame-duration');
  const [made, copied] = [join(folder, 'made.mkv'), join(folder, 'copied.mkv')];
  const exact = ['-fflags', '+bitexact', '-flags', '+bitexact'];
  const picture = ['-f', 'lavfi', '-i', `testsrc2=s=32x32:r=${rate}`, '-frames:v', '2'];
  await ffmpeg(...picture, '-c:v', 'ffv1', ...exact, made);
  await ffmpeg('-i', made, '-c', 'copy', ...exact, copied);
  return { made, copied };
}
const said = (path: string): number => {
  const { bytes } = frameDurationIn(readFileSync(path)) ?? { bytes: Buffer.alloc(0) };
  return bytes.readUIntBE(0, bytes.length);
};

test('is what the encoder said of it, with a checksum to it', async () => {
  const { made, copied } = await madeAndCopied('60000/1001');
  // 1001 / 60000 s in whole nanoseconds, by hand.
  expect(said(made)).toBe(16_683_333);
  // What this is here for; an ffmpeg that reads the rate back as it was needs none of it.
  expect(said(copied)).toBe(16_683_332);
  await sayFrameDuration(copied, made);
  expect(said(copied)).toBe(16_683_333);
  // There and back: the checksum is ffmpeg's own again, after it was another.
  const head = readFileSync(made);
  const other = withFrameDuration(head, Buffer.from([0xfe, 0x91, 0x44]));
  const { at = 0 } = frameDurationIn(head)?.checked ?? {};
  expect(other?.readUInt32LE(at)).not.toBe(head.readUInt32LE(at));
  expect(withFrameDuration(other as Buffer, Buffer.from([0xfe, 0x91, 0x45]))?.equals(head)).toBe(true);
});

test('is left alone where it stands already, where it has another length, and where there is none', async () => {
  const { made } = await madeAndCopied('25');
  const head = readFileSync(made);
  expect(said(made)).toBe(40_000_000);
  expect(withFrameDuration(head, Buffer.from([0x02, 0x62, 0x5a, 0x00]))).toBe(null);
  expect(withFrameDuration(head, Buffer.from([1, 2, 3]))).toBe(null);
  for (const length of [0, 1, 40, 100, 200]) expect(frameDurationIn(head.subarray(0, length))).toBe(null);
  expect(frameDurationIn(Buffer.alloc(1000, 0xff))).toBe(null);
  const other = join(freshFolder('frame-duration'), 'other.mkv');
  copyFileSync(made, other);
  await sayFrameDuration(other, 'package.json');
  expect(readFileSync(other).equals(head)).toBe(true);
});
