/** The takes of a sound roll, and the clips that ran with them: by time since midnight and timecode, exactly. */
import { describe, expect, test } from 'vitest';
import {
  type ClipOfDay,
  matchFindings,
  matchRecordings,
  recordingsOf,
} from '../../coordinator/survey/recordings.ts';
import type { SoundFile } from '../../coordinator/survey/sound.ts';
import type { TakeFacts, WaveHeader } from '../../media/formats/wave/header.ts';
import type { Rate } from '../../media/time/rate.ts';
import { parseTimecode } from '../../media/time/timecode.ts';
import { clipFacts } from '../support/facts.ts';

const said = (change: Partial<TakeFacts> = {}): TakeFacts => ({
  ...{ scene: '12', take: '3', tape: 'S001', note: null, circled: false, wild: false },
  ...{ tracks: [{ channel: 1, name: 'Boom' }], family: null, timestampRate: null },
  ...change,
});
const file = (path: string, since: bigint | null, change: Partial<WaveHeader> = {}): SoundFile => ({
  path,
  header: {
    ...({ form: 'riff', sampleRate: 48_000, channels: 1, bits: 24, coding: 'integer' } as const),
    ...{ channelMask: null, samples: 96_000, dataOffset: 44, timeReference: since, take: null },
    ...change,
  },
});
const NTSC_FILM: Rate = { num: 24_000, den: 1001 };
const clip = (name: string, label: string | null, rate: Rate, frames = 48): ClipOfDay => ({
  roll: 'A001',
  clip: name,
  facts: clipFacts({
    video: { rate, frames },
    timecode: label === null ? null : parseTimecode(label, rate),
  }),
});
const startOf = (since: bigint, one: ClipOfDay, change: Partial<WaveHeader> = {}): number | null =>
  matchRecordings(recordingsOf([file('T1.WAV', since, change)]).recordings, [one])[0]?.clips[0]
    ?.startSamples ?? null;

/**
 * Samples since midnight of a label of one hour at 48 kHz: written by ffmpeg 5.1 for such a timecode, and whole numbers of samples a frame (2000, 2002, 1601.6, 800.8)
 * times 3600 s of frames.
 */
test.each<[rate: string, Rate, label: string, samples: bigint]>([
  ['24', { num: 24, den: 1 }, '01:00:00:00', 172_800_000n],
  ['25', { num: 25, den: 1 }, '01:00:00:00', 172_800_000n],
  ['24000/1001', NTSC_FILM, '01:00:00:00', 172_972_800n],
  ['30000/1001 without drop', { num: 30_000, den: 1001 }, '01:00:00:00', 172_972_800n],
  ['30000/1001 with drop', { num: 30_000, den: 1001 }, '01:00:00;00', 172_799_827n],
  ['60000/1001 with drop', { num: 60_000, den: 1001 }, '01:00:00;00', 172_799_827n],
])(
  'at %s one hour is where recorders count it, and a sample beside is a sample',
  (_rate, rate, label, samples) => {
    const one = clip('A001C001', label, rate);
    expect(startOf(samples, one)).toBe(0);
    expect(startOf(samples - 1n, one)).toBe(-1);
    expect(startOf(samples + 1920n, one)).toBe(1920);
  },
);

test('a file of 48 048 samples a second, whose time is counted in 48 000, begins where its time says', () => {
  const change = { sampleRate: 48_048, take: said({ timestampRate: 48_000 }) };
  const one = clip('A001C001', '01:00:00:00', { num: 24, den: 1 });
  expect(startOf(172_800_000n, one, change)).toBe(0);
  // A second of the clock is 48 048 samples of the file.
  expect(startOf(172_800_000n - 48_000n, one, change)).toBe(-48_048);
});

test('what lies beside is what both have, and ends touch nothing', () => {
  const [recording] = matchRecordings(recordingsOf([file('T1.WAV', 172_800_000n)]).recordings, [
    clip('whole', '01:00:00:00', { num: 24, den: 1 }),
    clip('later', '01:00:01:12', { num: 24, den: 1 }),
    clip('behind', '01:00:02:00', { num: 24, den: 1 }),
    clip('before', '00:59:58:00', { num: 24, den: 1 }),
    clip('without', null, { num: 24, den: 1 }),
  ]);
  const notYet = { heard: null, whyNotHeard: 'not compared' };
  expect(recording?.clips).toEqual([
    { roll: 'A001', clip: 'whole', startSamples: 0, overlapSamples: 96_000, ...notYet },
    { roll: 'A001', clip: 'later', startSamples: -72_000, overlapSamples: 24_000, ...notYet },
  ]);
});

test('across midnight a recording and a clip are as near as they were', () => {
  const one = clip('A001C001', '00:00:00:00', { num: 24, den: 1 });
  expect(startOf(86_399n * 48_000n, one)).toBe(-48_000);
});

describe('files of one take', () => {
  const family = (index: number): TakeFacts =>
    said({ family: { uid: 'F7', index }, tracks: [{ channel: 1, name: `Lav ${index}` }] });

  test('are one recording, in the order of their tracks', () => {
    const { recordings } = recordingsOf([
      file('T2_2.WAV', 5n, { take: family(2) }),
      file('T2_1.WAV', 5n, { take: family(1) }),
      file('T3.WAV', 5n, { take: said() }),
    ]);
    expect(recordings.map(({ files, channels, tracks }) => [files, channels, tracks])).toEqual([
      [
        ['T2_1.WAV', 'T2_2.WAV'],
        2,
        [
          { channel: 1, name: 'Lav 1', file: 'T2_1.WAV', inFile: 1 },
          { channel: 2, name: 'Lav 2', file: 'T2_2.WAV', inFile: 1 },
        ],
      ],
      [['T3.WAV'], 1, [{ channel: 1, name: 'Boom', file: 'T3.WAV', inFile: 1 }]],
    ]);
  });

  test.each([
    ['length', { samples: 5 }],
    ['time', { timeReference: 6n }],
    ['rate', { sampleRate: 96_000 }],
  ])('of another %s are takes of their own', (_what, change) => {
    const { recordings } = recordingsOf([
      file('T2_1.WAV', 5n, { take: family(1) }),
      file('T2_2.WAV', 5n, { take: family(2), ...change }),
    ]);
    expect(recordings).toHaveLength(2);
  });
});

test('what cannot be read, what has no time and what ran with no clip is said', () => {
  const { recordings, findings } = recordingsOf([
    { path: 'broken.wav', header: 'no WAV file by its first bytes' },
    file('unset.wav', 0n),
    file('wild.wav', 172_800_000n, { take: said({ wild: true }) }),
    file('odd.wav', 172_800_000n, { take: 'iXML that cannot be read: line 1' }),
  ]);
  expect(findings.map(({ code, file: path }) => [code, path])).toEqual([
    ['sound-unreadable', 'broken.wav'],
    ['sound-words-unread', 'odd.wav'],
  ]);
  const clips = [clip('A001C001', '10:00:00:00', { num: 24, den: 1 })];
  const matched = matchRecordings(recordings, clips);
  const [whole, ...alone] = matchFindings(matched, clips, ['B001']);
  expect(whole?.found).toBe(
    '0 of 3 recordings ran with clips of the day, by time and timecode; 1 clip of 1 without one: A001 A001C001; nothing is known of the clips of B001',
  );
  expect(alone.map(({ code, file: path, found }) => [code, path, found])).toEqual([
    ['sound-alone', 'unset.wav', 'no time since midnight, or one of 0'],
    ['sound-alone', 'wild.wav', 'recorded without picture, as the recorder says'],
    ['sound-alone', 'odd.wav', 'no clip of the day ran at its time'],
  ]);
});
