/** The recipe's command on real clips: audio. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { freshFolder } from '../../support/folder.ts';
import { everyRow, further } from '../../support/lane.ts';
import { factsOf, makeAll } from '../../support/make.ts';
import { ffmpeg, makeMovie } from '../../support/media.ts';
import { byTurns, recipeProfiles } from './support.ts';

const { vc3, review } = await recipeProfiles();

/** Each of the tracks in one channel. */
async function samplesOf(path: string, tracks: number): Promise<Int32Array[]> {
  const raw = (track: number): string => `${path}.${track}.s32le`;
  await ffmpeg(
    ...['-i', path],
    ...Array.from({ length: tracks }, (_, track) => [
      ...['-map', `0:a:${track}`, '-ac', '1', '-f', 's32le', '-c:a', 'pcm_s32le', raw(track)],
    ]).flat(),
  );
  return Array.from({ length: tracks }, (_, track) => {
    const bytes = readFileSync(raw(track));
    return new Int32Array(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.length));
  });
}

describe('audio', () => {
  test.each<readonly [string, readonly number[]]>([
    ['one, two, four and six channels', [1, 2, 4, 6]],
    ...further<readonly [string, readonly number[]]>(
      ['none', []],
      ['one track', [2]],
      ['two mono tracks', [1, 1]],
      ['three mono tracks', [1, 1, 1]],
    ),
  ])('%s: tracks, layouts and samples as planned, each with its own tone', async (_title, audio) => {
    const folder = freshFolder('audio');
    const source = await makeMovie(join(folder, 'clip.mov'), {
      rate: '30000/1001',
      timecode: '01:00:00;00',
      frames: 24,
      audio,
    });
    const made = await makeAll(source, [vc3, review], folder);
    for (const { checked, outcome } of made) {
      expect(checked.findings).toEqual([]);
      expect(outcome.audio.map((track) => track.channels)).toEqual(audio);
      // 24 frames at 30000/1001 last 38 438.4 samples.
      for (const track of outcome.audio) expect(track.samples).toBe(38_438);
    }
    // Tones of 440, 550, 660 and 770 Hz cross zero upwards as often in a second.
    const heard = audio.length === 0 ? [] : await samplesOf(made[0]?.path ?? '', audio.length);
    for (const [track, values] of heard.entries()) {
      let crossings = 0;
      for (let index = 1; index < values.length; index += 1)
        if ((values[index - 1] as number) < 0 && (values[index] as number) >= 0) crossings += 1;
      expect(Math.abs(crossings - ((440 + 110 * track) * 38_438) / 48_000)).toBeLessThanOrEqual(1);
    }
  });

  // `npm test` has audio that starts late and early, and other rates, in test/worker/audio-place.test.ts.
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
    const [values] = (await samplesOf(made?.path ?? '', 1)) as [Int32Array];
    expect(values.length).toBe(48_000);
    expect(values.findIndex((value) => value !== 0)).toBe(12_345);
  };
  test.runIf(everyRow)("a click stays on its sample, at the source's rate", clickStays);

  test.runIf(everyRow).each([
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
    const [values] = (await samplesOf(made?.path ?? '', 1)) as [Int32Array];
    expect(values.length).toBe(48_000);
    expect(values.findIndex((value) => value !== 0)).toBe(silence);
  });

  test.runIf(everyRow)("another rate comes out at the profile's, as long as the picture", async () => {
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
