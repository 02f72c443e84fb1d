/** A frame in the middle of a file is reached alone, whatever its container knows of its own. */
import { execFileSync } from 'node:child_process';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { leadFilter, openFileAtFrame } from '../../worker/spot-frames.ts';
import { freshFolder } from '../support/folder.ts';
import { factsOf } from '../support/make.ts';
import { ffmpeg } from '../support/media.ts';

/** At 5 frames a second, so that few of them last longer than what MPEG-TS is entered early by; a key frame each 6 s, and each frame as bright as its number says. */
test.each(['mts', 'mp4'])('of frames between key frames, in %s', async (extension) => {
  const folder = freshFolder('spot-frames');
  const file = `A001C001.${extension}`;
  await ffmpeg(
    ...['-f', 'lavfi', '-i', 'color=c=black:s=64x48:r=5,format=yuv420p,geq=lum=16+2*N:cb=128:cr=128'],
    ...['-frames:v', '100', '-c:v', 'libx264', '-qp', '4', '-g', '30', '-bf', '2', '-sc_threshold', '0'],
    join(folder, file),
  );
  const facts = await factsOf(join(folder, file));
  for (const frame of [0, 6, 37, 88]) {
    const { args, lead, dispose } = await openFileAtFrame(folder, { kind: 'movie', file }, facts, frame);
    const picture = execFileSync('ffmpeg', [
      ...['-v', 'error', ...args, '-vf', `${leadFilter(lead)}null`, '-frames:v', '1'],
      ...['-f', 'rawvideo', '-pix_fmt', 'yuv420p', '-'],
    ]);
    await dispose();
    expect(Math.abs((picture[64 * 24 + 32] as number) - (16 + 2 * frame)), `frame ${frame}`).toBeLessThan(1);
  }
});
