/** A shoot day of one roll for benches: one clip, encoded once, under as many names as wanted. */
import { execFileSync } from 'node:child_process';
import { copyFileSync, mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { ffmpeg } from '../support/media.ts';

export const ROLL = 'A001';

/** 24 frames a second, RDD 36, two channels of audio, with an XXH64 checksum file made by xxhsum. Gives the day's folder. */
export async function makeBenchDay(
  base: string,
  clips: number,
  seconds: number,
  size = '1920x1080',
): Promise<string> {
  const first = join(base, 'clip.mov');
  mkdirSync(base, { recursive: true });
  const picture = [
    '-f',
    'lavfi',
    '-i',
    `testsrc2=s=${size}:r=24:d=${seconds}`,
    '-vf',
    'setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv',
    '-c:v',
    'prores_ks',
    '-profile:v',
    '2',
    '-pix_fmt',
    'yuv422p10le',
  ];
  await ffmpeg(
    '-f',
    'lavfi',
    '-i',
    `sine=f=440:r=48000:d=${seconds}`,
    ...picture,
    '-ac',
    '2',
    '-c:a',
    'pcm_s24le',
    '-timecode',
    '01:00:00:00',
    first,
  );
  const roll = join(base, 'day', ROLL);
  mkdirSync(roll, { recursive: true });
  const names = Array.from(
    { length: clips },
    (_, clip) => `${ROLL}C${String(clip + 1).padStart(3, '0')}.mov`,
  );
  for (const name of names) copyFileSync(first, join(roll, name));
  writeFileSync(
    join(roll, 'checksums.xxh64'),
    execFileSync('xxhsum', ['-H1', ...names], { cwd: roll, stdio: ['ignore', 'pipe', 'ignore'] }),
  );
  return join(base, 'day');
}
