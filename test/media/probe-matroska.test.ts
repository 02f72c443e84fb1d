/** Matroska's clock is one of milliseconds: rates, lengths and labels are measured all the same. */
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { freshFolder } from '../support/folder.ts';
import { factsOf } from '../support/make.ts';
import { ffmpeg } from '../support/media.ts';

test.each([
  ['24000/1001', { num: 24000, den: 1001 }, '01:02:03:04', { frame: 89_356, base: 24, drop: false }],
  ['25', { num: 25, den: 1 }, '01:02:03:04', { frame: 93_079, base: 25, drop: false }],
  ['30000/1001', { num: 30000, den: 1001 }, '00:01:00;02', { frame: 1800, base: 30, drop: true }],
  ['60000/1001', { num: 60000, den: 1001 }, '00:00:01:00', { frame: 60, base: 60, drop: false }],
  ['120000/1001', { num: 120000, den: 1001 }, '00:00:00:00', { frame: 0, base: 120, drop: false }],
  ['100', { num: 100, den: 1 }, '00:00:00:00', { frame: 0, base: 100, drop: false }],
])(
  '%s frames a second, with its label, reel and every sample of its audio',
  async (rate, expected, label, timecode) => {
    const path = join(freshFolder('matroska'), 'clip.mkv');
    await ffmpeg(
      '-f',
      'lavfi',
      '-i',
      `testsrc2=s=64x48:r=${rate}`,
      '-f',
      'lavfi',
      '-i',
      'sine=r=48000',
      '-vf',
      `settb=1/240000,setpts=N*${240_000 * expected.den}/${expected.num},fps=${rate},trim=end_frame=24`,
      '-filter:a',
      'atrim=end_sample=47111',
      '-c:v',
      'ffv1',
      '-c:a',
      'pcm_s24le',
      '-metadata',
      `timecode=${label}`,
      '-metadata:s:v:0',
      'reel_name=B007',
      path,
    );
    const { video, audio, timecode: read, reel } = await factsOf(path);
    expect({ rate: video.rate, frames: video.frames, constant: video.rateConstant }).toEqual({
      rate: expected,
      frames: 24,
      constant: true,
    });
    expect({ timecode: read, reel }).toEqual({ timecode, reel: 'B007' });
    expect(audio).toMatchObject([{ codec: 'pcm_s24le', samples: 47_111, startOffset: 0 }]);
  },
);
