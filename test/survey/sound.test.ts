/** Which sound files belong to which frames: by name, by time and length, by nothing, by too much. */
import { describe, expect, test } from 'vitest';
import { type MeasuredClip, matchSounds, type SoundFile } from '../../coordinator/survey/sound.ts';
import type { WaveHeader } from '../../media/formats/wave/header.ts';
import { parseTimecode } from '../../media/time/timecode.ts';
import { audioFacts, clipFacts } from '../support/facts.ts';

const RATE = { num: 24, den: 1 };
/** 48 frames from `label` on: two seconds, 96000 samples. */
function frames(folder: string, prefix: string, label: string | null, name = folder): MeasuredClip {
  return {
    clip: {
      id: name,
      name,
      place: {
        kind: 'sequence',
        folder,
        prefix,
        suffix: '.dng',
        padding: 4,
        first: 1,
        count: 48,
        statedRate: null,
      },
      bytes: 1,
      contentDigest: 'd',
    },
    facts: clipFacts({
      video: { rate: RATE, frames: 48 },
      audio: [],
      timecode: label === null ? null : parseTimecode(label, RATE),
    }),
  };
}
const sound = (path: string, seconds: number | null, change: Partial<WaveHeader> = {}): SoundFile => ({
  path,
  header: {
    form: 'riff',
    sampleRate: 48_000,
    channels: 2,
    bits: 24,
    coding: 'integer',
    channelMask: null,
    take: null,
    samples: 96_000,
    dataOffset: 44,
    timeReference: seconds === null ? null : BigInt(Math.round(seconds * 48_000)),
    ...change,
  },
});
const TEN = 36_000;
const one = frames('A001C001', 'A001C001_', '10:00:00:00');
const two = frames('A001C002', 'A001C002_', '10:00:10:00');

const outcomeOf = (sounds: readonly SoundFile[], clips: readonly MeasuredClip[] = [one, two]): string[] => {
  const { matched, findings } = matchSounds(sounds, clips);
  return [
    ...matched.map(
      ({ clip, place, track }) => `${clip} has ${place.file} by ${place.matchedBy} at ${track.startOffset}`,
    ),
    ...findings
      .filter(({ code }) => code !== 'sound-beside')
      .map(({ code, clip, file }) => `${code} ${clip ?? file}`),
  ];
};

describe('by name', () => {
  test.each<[path: string]>([['A001C001/A001C001.wav'], ['A001C001.WAV'], ['sound/a001c001.wav']])(
    '%s is that of A001C001',
    (path) => {
      expect(outcomeOf([sound(path, TEN)])).toEqual([`A001C001 has ${path} by name at 0`]);
    },
  );

  test('what stands before the numbers, in the folder of the frames alone', () => {
    const clips = [frames('x/1', 'frame.', '10:00:00:00', '1'), frames('x/2', 'frame.', '10:00:10:00', '2')];
    expect(outcomeOf([sound('x/2/frame.wav', TEN + 10)], clips)).toEqual([
      '2 has x/2/frame.wav by name at 0',
    ]);
    expect(outcomeOf([sound('x/frame.wav', TEN + 30)], clips)).toEqual(['sound-unmatched x/frame.wav']);
  });

  test('a name goes before a time that another clip has, and that time is said', () => {
    expect(outcomeOf([sound('A001C001.wav', TEN + 10)])).toEqual(['sound-elsewhere A001C001']);
  });

  test('a file without a time begins with the frames, and so does one whose time is 0, as where none is set', () => {
    expect(outcomeOf([sound('A001C001.wav', null)])).toEqual(['A001C001 has A001C001.wav by name at 0']);
    expect(outcomeOf([sound('A001C001.wav', 0)])).toEqual(['A001C001 has A001C001.wav by name at 0']);
    const still = frames('A001C001', 'A001C001_', null);
    expect(outcomeOf([sound('A001C001.wav', 77)], [still])).toEqual([
      'A001C001 has A001C001.wav by name at 0',
    ]);
  });
});

describe('by time and length', () => {
  test.each<[title: string, file: SoundFile, found: string]>([
    [
      'early and late by less than a second',
      sound('T1.wav', TEN + 10 - 0.5, { samples: 140_000 }),
      'A001C002 has T1.wav by timecode at -24000',
    ],
    ['too early', sound('T1.wav', TEN + 10 - 1.1, { samples: 150_000 }), 'sound-unmatched T1.wav'],
    ['too long', sound('T1.wav', TEN + 10, { samples: 96_000 + 48_001 }), 'sound-unmatched T1.wav'],
    ['too short', sound('T1.wav', TEN + 10, { samples: 47_000 }), 'sound-unmatched T1.wav'],
    ['without a time', sound('T1.wav', null), 'sound-unmatched T1.wav'],
  ])('%s', (_, file, found) => {
    expect(outcomeOf([file])).toEqual([found]);
  });

  test('frames that have a file of their name get no other one', () => {
    expect(outcomeOf([sound('A001C001.wav', TEN), sound('T1.wav', TEN)])).toEqual([
      'A001C001 has A001C001.wav by name at 0',
      'sound-unmatched T1.wav',
    ]);
  });
});

describe('what fits twice is held, and nothing is taken of it', () => {
  test('two files for one clip', () => {
    expect(outcomeOf([sound('A001C001.wav', TEN), sound('A001C001/A001C001.wav', TEN)])).toEqual([
      'sound-ambiguous A001C001',
    ]);
    expect(outcomeOf([sound('T1.wav', TEN), sound('T2.wav', TEN + 0.1)])).toEqual([
      'sound-ambiguous A001C001',
    ]);
  });
  test('one file for two clips', () => {
    const other = frames('B001C001', 'B001C001_', '10:00:00:12');
    expect(outcomeOf([sound('T1.wav', TEN)], [one, other])).toEqual([
      'sound-ambiguous A001C001',
      'sound-ambiguous B001C001',
    ]);
  });
});

test('files of movies, and rolls of movies alone, are none of this', () => {
  const movie: MeasuredClip = {
    clip: { id: 'M1', name: 'M1', place: { kind: 'movie', file: 'M1.mov' }, bytes: 1, contentDigest: 'd' },
    facts: clipFacts({ audio: [audioFacts()] }),
  };
  expect(outcomeOf([sound('M1.wav', TEN)], [movie])).toEqual([]);
  expect(outcomeOf([sound('M1.wav', TEN + 500)], [movie, one])).toEqual([]);
});

test('a file that is not read is held where it has the name of frames, and a note where it has not', () => {
  expect(outcomeOf([{ path: 'A001C001.flac', header: 'no WAV file' }])).toEqual([
    'sound-unreadable A001C001',
  ]);
  expect(outcomeOf([{ path: 'T1.flac', header: 'no WAV file' }])).toEqual(['sound-unmatched T1.flac']);
  expect(outcomeOf([sound('A001C001.wav', TEN, { channelMask: 0x5 })])).toEqual([
    'sound-unreadable A001C001',
  ]);
});
