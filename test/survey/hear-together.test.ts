/** A clip's own audio and a recording, in files as cameras and recorders write them: what both heard, to the sample through containers, codecs and rates. */
import { execFileSync } from 'node:child_process';
import { mkdtempSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { hearTogether } from '../../coordinator/survey/hear-together.ts';
import type { Recording } from '../../ledger/recording.ts';
import { sharedFolder } from '../support/folder.ts';
import { factsOf, mediaTools } from '../support/make.ts';
import { buildWave } from '../support/wave.ts';

const RATE = 48_000;
const folder = mkdtempSync(join(sharedFolder, 'heard-'));
/** Noise in bursts: numbers from -1 to 1 by the sample (mulberry32), so that every sample is known by its number. */
function yard(sample: number): number {
  let mixed = (sample * 0x6d2b79f5) | 0;
  mixed = Math.imul(mixed ^ (mixed >>> 15), 1 | mixed);
  mixed = (mixed + Math.imul(mixed ^ (mixed >>> 7), 61 | mixed)) ^ mixed;
  const value = ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 31 - 1;
  return 0.5 * value * Math.exp(-(sample % 14_400) / 3000);
}

/** A clip of six seconds whose sound is the yard's from a sample on. */
async function clipOf(name: string, from: number, ...encoder: readonly string[]): Promise<string> {
  const sound = join(folder, `${name}.camera.wav`);
  writeFileSync(sound, buildWave({ samples: 6 * RATE, channels: 1, value: (at) => yard(from + at) }));
  const path = join(folder, name);
  execFileSync('ffmpeg', [
    ...['-v', 'error', '-y', '-f', 'lavfi', '-i', 'color=s=64x48:r=25', '-i', sound],
    ...['-t', '6', '-c:v', 'libx264', '-pix_fmt', 'yuv420p', ...encoder, path],
  ]);
  return path;
}
/** A take of twelve seconds, the yard's from a sample on. */
function takeOf(name: string, from: number): Recording {
  writeFileSync(
    join(folder, name),
    buildWave({ samples: 12 * RATE, channels: 2, value: (at) => yard(from + at) }),
  );
  return {
    ...{ files: [name], sampleRate: RATE, bits: 24, channels: 2, samples: 12 * RATE },
    ...{ since: '5', sinceRate: RATE, scene: null, take: null, tape: null, note: null },
    ...{ circled: false, wild: false, clips: [] },
    tracks: [
      { channel: 1, name: null },
      { channel: 2, name: null },
    ],
  };
}
async function heard(path: string, recording: Recording, startSamples: number) {
  const name = path.slice(folder.length + 1);
  return await hearTogether({
    clip: {
      rollFolder: folder,
      clip: { id: name, name, place: { kind: 'movie', file: name }, bytes: 1, contentDigest: 'd' },
      facts: await factsOf(path),
    },
    ...{ recording, folder, tools: await mediaTools(), signal: new AbortController().signal },
    beside: {
      ...{ roll: 'A001', clip: name, startSamples, overlapSamples: 6 * RATE },
      ...{ heard: null, whyNotHeard: null },
    },
  });
}
/** The yard's second 20 is where clips begin. */
const FROM = 20 * RATE;

test.each([
  ['PCM in MOV', 'pcm.mov', ['-c:a', 'pcm_s16le'], { start: -96_123, stated: -96_123, most: 0 }],
  // What timecode says is half a second off.
  [
    'AAC in MP4, with its priming',
    'aac.mp4',
    ['-c:a', 'aac', '-b:a', '192k'],
    { start: -96_000, stated: -72_000, most: 0 },
  ],
  [
    'PCM of 44.1 kHz in Matroska, the recording later',
    'other.mkv',
    ['-c:a', 'pcm_s16le', '-ar', '44100'],
    // Times of that container are whole milliseconds.
    { start: 48_001, stated: 48_001, most: 48 },
  ],
])('%s: the recording lies where it was laid', async (_what, name, encoder, { start, stated, most }) => {
  const path = await clipOf(name, FROM, ...encoder);
  const found = await heard(path, takeOf(`${name}.wav`, FROM + start), stated);
  expect(found.whyNotHeard).toBeNull();
  expect(Math.abs((found.heard?.startSamples ?? 0) - start)).toBeLessThanOrEqual(most);
  expect(found.heard?.parts).toBe(3);
});

test('a clip that heard something else is not placed, nor one without audio', async () => {
  const path = await clipOf('elsewhere.mov', 400 * RATE, '-c:a', 'pcm_s16le');
  expect(await heard(path, takeOf('elsewhere.wav', FROM), 0)).toEqual({
    heard: null,
    whyNotHeard: 'nothing was surely heard in both',
  });
  const silent = await clipOf('silent.mov', FROM, '-an');
  expect(await heard(silent, takeOf('silent.wav', FROM), 0)).toEqual({
    heard: null,
    whyNotHeard: 'the clip has no audio',
  });
});

test('frames whose own sound file begins behind the first of them are heard from where it begins', async () => {
  const late = RATE / 2;
  writeFileSync(
    join(folder, 'beside.wav'),
    buildWave({ samples: 6 * RATE - late, channels: 1, value: (at) => yard(FROM + late + at) }),
  );
  const sound = { file: 'beside.wav', matchedBy: 'name' } as const;
  const facts = await factsOf(await clipOf('own.mov', FROM, '-c:a', 'pcm_s16le'));
  const [track] = facts.audio;
  if (track === undefined) throw new Error('no audio');
  const found = await hearTogether({
    clip: {
      rollFolder: folder,
      clip: {
        ...{ id: 'frames', name: 'frames', bytes: 1, contentDigest: 'd' },
        place: {
          ...({ kind: 'sequence', folder: '', prefix: 'f_', suffix: '.dng', padding: 4 } as const),
          ...{ first: 1, count: 150, statedRate: null, sound },
        },
      },
      facts: {
        ...facts,
        audio: [{ ...track, streamIndex: 0, channels: 1, startOffset: late, beside: sound }],
      },
    },
    ...{ recording: takeOf('frames.take.wav', FROM - 4_321), folder, tools: await mediaTools() },
    signal: new AbortController().signal,
    beside: {
      ...{ roll: 'A001', clip: 'frames', startSamples: -4_321, overlapSamples: 6 * RATE },
      ...{ heard: null, whyNotHeard: null },
    },
  });
  expect(found).toEqual({
    heard: { startSamples: -4_321, driftMillionths: 0, parts: 3 },
    whyNotHeard: null,
  });
});
