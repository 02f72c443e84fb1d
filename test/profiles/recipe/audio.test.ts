/** The recipe's command on real clips: audio. */
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { runForOutput } from '../../../process/run.ts';
import { freshFolder } from '../../support/folder.ts';
import { everyRow, further } from '../../support/lane.ts';
import { factsOf, makeAll } from '../../support/make.ts';
import { ffmpeg, makeMovie } from '../../support/media.ts';
import { byTurns, recipeProfiles } from './support.ts';

const { vc3, review } = await recipeProfiles();

async function samples(path: string, track: number): Promise<Int32Array> {
  const run = await runForOutput('ffmpeg', [
    '-v',
    'error',
    '-i',
    path,
    '-map',
    `0:a:${track}`,
    '-f',
    's32le',
    '-c:a',
    'pcm_s32le',
    '-',
  ]);
  return new Int32Array(
    run.stdout.buffer.slice(run.stdout.byteOffset, run.stdout.byteOffset + run.stdout.length),
  );
}

describe('audio', () => {
  test.each<readonly [number, string, number[]]>([
    [0, 'mono and stereo', [1, 2]],
    [1, 'four and six channels', [4, 6]],
    ...further<readonly [number, string, number[]]>(
      [2, 'none', []],
      [3, 'one track', [2]],
      [4, 'two mono tracks', [1, 1]],
    ),
  ])('$1: tracks, layouts and samples as planned', async (row, _title, audio) => {
    const folder = freshFolder('audio');
    const source = await makeMovie(join(folder, 'clip.mov'), {
      rate: '30000/1001',
      timecode: '01:00:00;00',
      frames: 7,
      audio,
    });
    for (const { checked, outcome } of await makeAll(source, byTurns([vc3, review], row), folder)) {
      expect(checked.findings).toEqual([]);
      expect(outcome.audio.map((track) => track.channels)).toEqual(audio);
      // 7 frames at 30000/1001 last 11 211.2 samples.
      for (const track of outcome.audio) expect(track.samples).toBe(11_211);
    }
  });

  test('tracks keep their order: each sounds its own tone', async () => {
    const folder = freshFolder('tones');
    const source = await makeMovie(join(folder, 'clip.mov'), { rate: '24', frames: 24, audio: [1, 1, 1] });
    const [made] = await makeAll(source, [vc3], folder);
    // Tones of 440, 550 and 660 Hz cross zero upwards as often in a second.
    for (const [track, hertz] of [440, 550, 660].entries()) {
      const values = await samples(made?.path ?? '', track);
      let crossings = 0;
      for (let index = 1; index < values.length; index += 1)
        if ((values[index - 1] as number) < 0 && (values[index] as number) >= 0) crossings += 1;
      expect(Math.abs(crossings - hertz)).toBeLessThanOrEqual(1);
    }
  });

  // With audio that starts late or early, below, in npm test.
  const clickStays = async (): Promise<void> => {
    const folder = freshFolder('click');
    const picture = await makeMovie(join(folder, 'picture.mov'), { frames: 24, rate: '24', audio: [] });
    const source = join(folder, 'clip.mov');
    await ffmpeg(
      '-i',
      picture,
      '-f',
      'lavfi',
      '-i',
      "aevalsrc='0.5*eq(n,12345)':s=48000:d=1",
      '-map',
      '0:v',
      '-map',
      '1:a',
      '-c:v',
      'copy',
      '-c:a',
      'pcm_s24le',
      '-timecode',
      '01:00:00:00',
      source,
    );
    const [made] = await makeAll(source, [vc3], folder);
    const values = await samples(made?.path ?? '', 0);
    expect(values.length).toBe(48_000);
    expect(values.findIndex((value) => value !== 0)).toBe(12_345);
  };
  if (everyRow) test("a click stays on its sample, at the source's rate", clickStays);

  test.each([
    ['late', '0.02', 960, 960],
    ['early', '-0.02', -960, 0],
  ])('audio that starts %s is put where it belongs', async (_title, offset, startOffset, silence) => {
    const folder = freshFolder('offset');
    const picture = await makeMovie(join(folder, 'picture.mov'), { frames: 25, rate: '25', audio: [] });
    const source = join(folder, 'clip.mov');
    const shift = offset.startsWith('-')
      ? ['-itsoffset', offset.slice(1), '-i', picture]
      : ['-i', picture, '-itsoffset', offset];
    await ffmpeg(
      ...shift,
      '-f',
      'lavfi',
      '-i',
      'aevalsrc=0.25:s=48000:d=1',
      '-map',
      '0:v',
      '-map',
      '1:a',
      '-c:v',
      'copy',
      '-c:a',
      'pcm_s24le',
      '-timecode',
      '01:00:00:00',
      source,
    );
    expect((await factsOf(source)).audio[0]?.startOffset).toBe(startOffset);
    const [made] = await makeAll(source, [vc3], folder);
    expect(made?.checked.findings).toEqual([]);
    const values = await samples(made?.path ?? '', 0);
    expect(values.length).toBe(48_000);
    expect(values.findIndex((value) => value !== 0)).toBe(silence);
  });

  test("another rate comes out at the profile's, as long as the picture", async () => {
    const folder = freshFolder('resampled');
    const picture = await makeMovie(join(folder, 'picture.mov'), { frames: 10, rate: '25', audio: [] });
    const source = join(folder, 'clip.mov');
    await ffmpeg(
      '-i',
      picture,
      '-f',
      'lavfi',
      '-i',
      'sine=f=440:r=44100:d=0.4',
      '-map',
      '0:v',
      '-map',
      '1:a',
      '-c:v',
      'copy',
      '-c:a',
      'pcm_s16le',
      '-timecode',
      '01:00:00:00',
      source,
    );
    for (const { checked, outcome } of await makeAll(source, byTurns([review, vc3], 0), folder)) {
      expect(outcome.audio[0]).toMatchObject({ sampleRate: 48_000, samples: 19_200 });
      expect(checked.findings).toEqual([]);
    }
  });
});
