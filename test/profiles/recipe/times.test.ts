/** The recipe's command on real clips: times. */
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { freshFolder } from '../../support/folder.ts';
import { further } from '../../support/lane.ts';
import { makeAll } from '../../support/make.ts';
import { ffmpeg, makeMovie } from '../../support/media.ts';
import { byTurns, recipeProfiles } from './support.ts';

const { vc3, rdd36, review } = await recipeProfiles();

describe('times', () => {
  test.each([
    [
      0,
      'a time base that cannot express the rate (600 ticks a second at 23.976)',
      ['-video_track_timescale', '600'],
    ],
    [1, 'pictures in another order than they are shown in', ['-bf', '3']],
  ])('$1: every frame once, evenly', async (row, _title, extra) => {
    const folder = freshFolder('times');
    const source = await makeMovie(join(folder, 'clip.mov'), {
      codec: 'h264',
      rate: '24000/1001',
      frames: 25,
      extra,
    });
    for (const { checked } of await makeAll(source, byTurns([vc3, review], row), folder)) {
      expect(checked.findings).toEqual([]);
      expect(checked.facts?.video).toMatchObject({
        frames: 25,
        rate: { num: 24000, den: 1001 },
        firstTime: 0,
        endTime: 25 * 1001,
      });
    }
  });

  test('a picture that starts after 0 in its file starts at 0 in the deliverable', async () => {
    const folder = freshFolder('late');
    const plain = await makeMovie(join(folder, 'plain.mov'), { frames: 12, rate: '25', audio: [] });
    const source = join(folder, 'clip.mov');
    await ffmpeg(
      '-itsoffset',
      '0.52',
      '-i',
      plain,
      '-map',
      '0:v',
      '-c',
      'copy',
      '-timecode',
      '01:00:00:00',
      source,
    );
    const [made] = await makeAll(source, [vc3], folder);
    expect(made?.checked.findings).toEqual([]);
    expect(made?.checked.facts?.video).toMatchObject({ frames: 12, firstTime: 0 });
  });

  test.each<readonly [number, string, string]>([
    [1, '120', '01:00:00:119'],
    ...further<readonly [number, string, string]>(
      [0, '48000/1001', '01:00:00:47'],
      [2, '96', '01:00:00:95'],
      [3, '100', '01:00:00:99'],
      [4, '120000/1001', '01:00:00:00'],
    ),
  ])('$1 frames a second from $2 pass every check', async (row, rate, timecode) => {
    const folder = freshFolder('fast');
    const source = await makeMovie(join(folder, 'clip.mov'), { rate, timecode, frames: 12, audio: [1] });
    for (const { checked } of await makeAll(source, byTurns([vc3, review], row), folder))
      expect(checked.findings).toEqual([]);
  });

  test('one frame is enough', async () => {
    const folder = freshFolder('one');
    const source = await makeMovie(join(folder, 'clip.mov'), { frames: 1, rate: '24' });
    for (const { checked } of await makeAll(source, byTurns([review, vc3, rdd36], 0), folder))
      expect(checked.findings).toEqual([]);
  });
});
