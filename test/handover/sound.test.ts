/** Recordings of sound rolls in what people open: the slate of a clip that says none, the bin, the log, the page. */
import { expect, test } from 'vitest';
import { logPieces } from '../../handover/csv.ts';
import type { DayRoll } from '../../handover/day.ts';
import { dayOrder } from '../../handover/day-clock.ts';
import { dayBin } from '../../handover/otio/bin.ts';
import { jsonPieces } from '../../handover/otio/json.ts';
import { clipsOf, readOtio } from '../../handover/otio/read.ts';
import { morningPageOf } from '../../handover/page/morning-page.ts';
import { withSounds } from '../../handover/sound.ts';
import type { ClipBeside, Recording } from '../../ledger/recording.ts';
import { parseTimecode } from '../../media/time/timecode.ts';
import { modelDay, modelRoll } from '../support/day-model.ts';
import { clipFacts, clipNamed } from '../support/facts.ts';
import { dayOf, morningOf, readyRoll } from '../support/mornings.ts';

const beside = (clip: string, over: Partial<ClipBeside> = {}): ClipBeside => ({
  ...{ roll: 'A001', clip, startSamples: -48_000, overlapSamples: 96_000 },
  ...{ heard: null, whyNotHeard: 'the clip has no audio' },
  ...over,
});
const recording = (file: string, over: Partial<Recording> = {}): Recording => ({
  ...{ files: [file], sampleRate: 48_000, bits: 24, channels: 1, samples: 480_000 },
  // 10:00:00 of a clock.
  ...{ since: '1728000000', sinceRate: 48_000, scene: '12', take: '3', tape: 'S001', note: null },
  ...{ circled: false, wild: false, clips: [] },
  tracks: [{ channel: 1, name: 'Boom' }],
  ...over,
});

const PROFILES = ['review-h264'] as const;

async function rolls(): Promise<DayRoll[]> {
  const timecode = parseTimecode('10:00:01:00', 24);
  const camera = await modelRoll('A001', [
    { clip: clipNamed('A001C001', 'one'), facts: clipFacts({ timecode }), profiles: PROFILES },
    {
      clip: clipNamed('A001C002', 'two'),
      facts: clipFacts({ timecode, metadata: { scene: '7', take: '1' } }),
      profiles: PROFILES,
    },
    { clip: clipNamed('A001C003', 'three'), facts: clipFacts({ timecode }), profiles: PROFILES },
  ]);
  const heard = { startSamples: -52_800, driftMillionths: 0, parts: 4 };
  const sound = {
    ...(await modelRoll('S001', [])),
    recordings: [
      recording('short.wav', { take: '2', clips: [beside('one', { overlapSamples: 10 })] }),
      recording('long.wav', { clips: [beside('one', { heard, whyNotHeard: null }), beside('two')] }),
      recording('48048.wav', { sampleRate: 48_048, samples: 480_480 }),
    ],
  };
  return withSounds([camera, sound]);
}

test('a clip without a slate has that of the recording that lies beside it longest, and its own counts before it', async () => {
  const [camera] = await rolls();
  expect(
    camera?.clips.map(({ scene, take, sounds }) => [scene, take, sounds.map(({ files }) => files[0])]),
  ).toEqual([
    ['12', '3', ['long.wav', 'short.wav']],
    ['7', '1', ['long.wav']],
    [null, null, []],
  ]);
});

test('the bin has each recording with its range of samples since midnight, in a folder of sound', async () => {
  const day = await rolls();
  const bin = [...jsonPieces(dayBin(modelDay(day), day, dayOrder(day.flatMap(({ clips }) => clips))))].join(
    '',
  );
  const folders = (JSON.parse(bin) as { children: { name: string }[] }).children.map(({ name }) => name);
  expect(folders).toContain('sound');
  const found = [...clipsOf(readOtio(bin))].filter(({ name }) => name.endsWith('.wav'));
  expect(found.map(({ name }) => name)).toEqual(['short.wav', 'long.wav', '48048.wav']);
  const ranges = found.map(({ references }) => references.get('DEFAULT_MEDIA')?.available_range);
  // Ten hours of 48 000, and the same of a file that has 48 048 to the second.
  expect(ranges).toMatchObject([
    { start_time: { rate: 48_000, value: 1_728_000_000 }, duration: { rate: 48_000, value: 480_000 } },
    { start_time: { rate: 48_000, value: 1_728_000_000 } },
    { start_time: { rate: 48_048, value: 1_729_728_000 }, duration: { value: 480_480 } },
  ]);
  expect(found[1]?.metadata).toMatchObject({
    rushlight: {
      ran_with: [
        { clip: 'one', start: -52_800, start_by: 'content' },
        { clip: 'two', start: -48_000, start_by: 'timecode' },
      ],
    },
  });
});

test('the log says which, and where by what both heard, and begins no cell with a sign', async () => {
  const text = [...logPieces(await rolls(), { amf: () => '' })].join('');
  expect(text).toContain('S001/long.wav; S001/short.wav,52800 before; 48000 before');
  expect(text).not.toMatch(/,['=+-]/);
});

test('the morning page lists recordings of a roll that has no clip, and what ran with each', async () => {
  const camera = await readyRoll('A001', ['A001C001']);
  const sound = {
    ...(await readyRoll('S001', [])),
    recordings: [
      recording('<b>.wav', { clips: [beside('A001C001')] }),
      recording('wild.wav', { scene: null, take: null }),
    ],
  };
  const page = morningPageOf(morningOf(dayOf([camera, sound])));
  expect(page).toContain('2 recordings of sound');
  expect(page).toContain('Recordings of');
  expect(page).toContain('&lt;b&gt;.wav');
  expect(page).not.toContain('<b>.wav');
  expect(page).toMatch(/wild\.wav.+<td>none<\/td>/s);
});
