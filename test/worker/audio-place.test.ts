/** Audio that does not start with the picture, and audio at a rate with no simple relation to it, comes out in its place to a sample, proved by the check and by ffmpeg's own decode. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, expect, test } from 'vitest';
import { builtInProfiles } from '../../profiles/load.ts';
import type { Profile } from '../../profiles/schema.ts';
import { freshFolder } from '../support/folder.ts';
import { everyRow, further } from '../support/lane.ts';
import { factsOf, makeAll } from '../support/make.ts';
import { ffmpeg, makeMovie } from '../support/media.ts';

let vc3: Profile;
beforeAll(async () => {
  const found = (await builtInProfiles()).find(({ profile }) => profile.name === 'editorial-vc3')?.profile;
  if (found?.kind !== 'movie') throw new Error('no editorial-vc3');
  vc3 = { ...found, raster: { ...found.raster, width: 320, enlarge: false } };
});

/** Left channel, 32 bits, from time 0 on, as ffmpeg decodes it. */
async function samplesOf(path: string): Promise<Int32Array> {
  const raw = `${path}.raw`;
  await ffmpeg('-i', path, '-map', '0:a:0', '-af', 'pan=mono|c0=c0', '-f', 's32le', raw);
  const bytes = readFileSync(raw);
  return new Int32Array(bytes.buffer, bytes.byteOffset, bytes.length / 4);
}

/** 50 frames at 25, and noise whose first sample is heard at `seconds`; its samples, 32 bits. */
async function offsetClip(folder: string, seconds: number): Promise<{ clip: string; noise: Int32Array }> {
  const [wave, raw, clip] = [join(folder, 'noise.wav'), join(folder, 'noise.raw'), join(folder, 'bell.mov')];
  const cut = ['-af', `atrim=end_sample=${96_000 - Math.round(seconds * 48_000)}`, '-c:a', 'pcm_s24le'];
  await ffmpeg(
    ...['-f', 'lavfi', '-i', 'anoisesrc=r=48000:d=4:a=0.3:seed=7'],
    ...['-map', '0:a', ...cut, wave, '-map', '0:a', ...cut, '-f', 's24le', raw],
  );
  const picture = await makeMovie(join(folder, 'picture.mov'), { frames: 50, rate: '25', audio: [] });
  // An edit list in the ticks of the movie's clock: of a sample each, so that it is exact.
  await ffmpeg(
    ...['-itsoffset', seconds < 0 ? String(-seconds) : '0', '-i', picture],
    ...['-itsoffset', seconds > 0 ? String(seconds) : '0', '-i', wave],
    ...['-map', '0:v', '-map', '1:a', '-c', 'copy', '-movie_timescale', '48000'],
    ...['-timecode', '01:00:00:00', clip],
  );
  const bytes = readFileSync(raw);
  return {
    clip,
    noise: Int32Array.from({ length: bytes.length / 3 }, (_, at) => bytes.readIntLE(3 * at, 3) << 8),
  };
}

test.each<[string, number]>([
  ['a quarter of a second late', 0.25],
  ...further<[string, number]>(['a second late', 1]),
  ['half a second early', -0.5],
])('audio that starts %s', async (_title, seconds) => {
  const folder = freshFolder();
  const { clip, noise: source } = await offsetClip(folder, seconds);
  const late = Math.round(seconds * 48_000);
  expect((await factsOf(clip)).audio[0]?.startOffset).toBe(late);
  const [made] = await makeAll(clip, [vc3], folder);
  if (made === undefined) throw new Error('nothing made');
  expect(made.checked.findings).toEqual([]);
  expect(made.checked.passed).toBe(true);
  const heard = await samplesOf(made.path);
  expect(heard.length).toBe(96_000);
  expect(heard.subarray(0, Math.max(0, late)).every((sample) => sample === 0)).toBe(true);
  expect(heard.subarray(Math.max(0, late))).toEqual(source.subarray(Math.max(0, -late)));

  // The proof sees one sample of place, and one sample that is not silence.
  if (late < 0 && !everyRow) return;
  const [moved, loud] = [join(folder, 'moved.mov'), join(folder, 'loud.mov')];
  const spoiled = (path: string, filter: string): string[] => [
    ...['-map', '0', '-c', 'copy', '-c:a', 'pcm_s24le', '-af', filter, '-timecode', '01:00:00:00', path],
  ];
  await ffmpeg(
    ...['-i', made.path, ...spoiled(moved, 'adelay=delays=1S:all=1,atrim=end_sample=96000')],
    ...spoiled(loud, "aeval='val(0)+if(eq(n\\,100)\\,0.001\\,0)'"),
  );
  const codesOf = async (path: string): Promise<string[]> =>
    (await made.check(path)).findings.map(({ code }) => code);
  expect(await codesOf(moved)).toContain('audio-displaced');
  if (late > 100) expect((await codesOf(loud)).join(' ')).toMatch(/\baudio-/);
});

test.each([15, ...further(30)])(
  'audio at 44.1 kHz that an edit list enters %i samples before the end of a block is as long as the picture',
  async (left) => {
    const folder = freshFolder();
    const [whole, audio] = [join(folder, 'whole.m4a'), join(folder, 'audio.m4a')];
    await ffmpeg(
      '-f',
      'lavfi',
      '-i',
      'anoisesrc=r=44100:d=6:a=0.2:seed=4',
      '-c:a',
      'aac',
      '-b:a',
      '64k',
      whole,
    );
    // Blocks of 1024 samples; the copy begins with a block and an edit list that hides all of it but the last few samples.
    await ffmpeg('-ss', String((1024 * 41 - left) / 44_100), '-i', whole, '-t', '2.6', '-c', 'copy', audio);
    const picture = await makeMovie(join(folder, 'picture.mov'), {
      frames: 77,
      rate: '30000/1001',
      audio: [],
    });
    const clip = join(folder, 'bell.mov');
    await ffmpeg(
      ...[
        '-i',
        picture,
        '-i',
        audio,
        '-map',
        '0:v',
        '-map',
        '1:a',
        '-c',
        'copy',
        '-timecode',
        '01:00:00:00',
        clip,
      ],
    );
    const [made] = await makeAll(clip, [vc3], folder);
    if (made === undefined) throw new Error('nothing made');
    // 77 x 1001 / 30000 x 48000 = 123323.2 samples.
    expect(made.outcome.audio[0]?.samples).toBe(123_323);
    expect((await samplesOf(made.path)).length).toBe(123_323);
    expect(made.checked.findings).toEqual([]);
    expect(made.checked.passed).toBe(true);
  },
);
