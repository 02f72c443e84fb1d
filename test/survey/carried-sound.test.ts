/** What of a recording a clip carries: which tracks, from which sample, under which names. All values by hand. */
import { describe, expect, test } from 'vitest';
import { carriedOf } from '../../coordinator/survey/carried-sound.ts';
import type { ClipBeside, Recording } from '../../ledger/recording.ts';
import type { AudioFacts } from '../../media/facts.ts';
import { clipFacts } from '../support/facts.ts';

const RATE = 48_000;
/** 24000/1001: a frame lasts 2002 samples; 48 of them. */
const facts = clipFacts();
const PICTURE = facts.video.frames * 2002;

const recording = (names: readonly (string | null)[], over: Partial<Recording> = {}): Recording => ({
  ...{
    files: ['T.wav'],
    sampleRate: RATE,
    bits: 24,
    coding: 'integer',
    channels: names.length,
    samples: 480_000,
  },
  ...{ since: '5', sinceRate: RATE, scene: '24A', take: '3', tape: null, note: null },
  ...{ circled: false, wild: false, clips: [] },
  tracks: names.map((name, index) => ({ channel: index + 1, name, file: 'T.wav', inFile: index + 1 })),
  ...over,
});
const beside = (startSamples: number, heard: ClipBeside['heard'] = null): ClipBeside => ({
  ...{ roll: 'A001', clip: 'one', startSamples, overlapSamples: PICTURE, heard, whyNotHeard: null },
});
const carried = (one: Recording, where: ClipBeside): AudioFacts[] =>
  carriedOf({ ...{ roll: 'S001', recording: one, beside: where, clip: facts }, checksumOf: () => 'xxh3:0' });
const ofForm = (tracks: readonly AudioFacts[], form: 'mix' | 'track') =>
  tracks.flatMap(({ recording: of }) =>
    of?.form === form ? [{ channels: of.channels, name: of.name }] : [],
  );

test('the facts of these tests are those that its numbers are of', () => {
  expect(facts.video).toMatchObject({ rate: { num: 24_000, den: 1001 } });
});

describe('the mix', () => {
  test.each<[string, readonly (string | null)[], readonly { channels: number[]; name: string | null }[]]>([
    ['one that is named so', ['Boom', 'MIX', 'Lav'], [{ channels: [2], name: '24A-3 MIX' }]],
    ['left and right, in that order', ['MixR', 'Boom', 'Mix L'], [{ channels: [3, 1], name: '24A-3 Mix' }]],
    ['L-Mix and R-Mix', ['L-Mix', 'R-Mix', 'Boom'], [{ channels: [1, 2], name: '24A-3 Mix' }]],
    ['a recording of one channel', [null], [{ channels: [1], name: '24A-3' }]],
    ['of two that nobody names', [null, null], [{ channels: [1, 2], name: '24A-3' }]],
    ['of three that nobody names: none', ['A', 'B', 'C'], []],
    ['a mixer is none', ['Mixer room', 'Boom', 'Lav'], []],
    ['three of them: none', ['Mix', 'Mix L', 'Mix R', 'Boom'], []],
  ])('%s', (_what, names, wanted) => {
    expect(ofForm(carried(recording(names), beside(-1)), 'mix')).toEqual(wanted);
  });

  test('of two files it is two tracks', () => {
    const files = ['L.wav', 'R.wav'];
    const one = recording([], {
      ...{ files, channels: 2 },
      tracks: ['Mix L', 'Mix R'].map((name, at) => ({
        ...{ channel: at + 1, name, file: files[at] as string, inFile: 1 },
      })),
    });
    expect(
      carried(one, beside(-1)).map(({ recording: of, channels }) => [
        of?.form,
        of?.file,
        of?.channels,
        channels,
      ]),
    ).toEqual([
      ['mix', 'L.wav', [1], 1],
      ['mix', 'R.wav', [1], 1],
      ['track', 'L.wav', [1], 1],
      ['track', 'R.wav', [1], 1],
    ]);
  });
});

test('names that disturb a terminal are escaped, long ones are cut', () => {
  const name = `Lav\u0007 ${'of the founder '.repeat(20)}`;
  const [track] = ofForm(carried(recording(['a', 'b', name]), beside(-1)), 'track').slice(-1);
  expect(track?.name).toMatch(/^24A-3 Lav\\u\{7\} of the founder/);
  expect(track?.name).toHaveLength(80);
});

const placeOf = ([track]: readonly AudioFacts[]): unknown => ({
  from: track?.recording?.from,
  startOffset: track?.startOffset,
  samples: track?.samples,
  drift: track?.recording?.driftMillionths,
  laidBy: track?.recording?.laidBy,
});

describe('the place', () => {
  const boom = recording(['Boom']);
  test.each<[string, ClipBeside, object]>([
    [
      'it began before',
      beside(-1000),
      { from: 1000, startOffset: 0, samples: PICTURE, drift: 0, laidBy: 'timecode' },
    ],
    [
      'it begins in the clip',
      beside(777),
      { from: 0, startOffset: 777, samples: PICTURE - 777, laidBy: 'timecode' },
    ],
    ['it ends in the clip', beside(-479_000), { from: 479_000, startOffset: 0, samples: 1000 }],
    [
      'what both heard counts before the times',
      beside(-1000, { startSamples: -900, driftMillionths: 0, parts: 3 }),
      { from: 900, laidBy: 'content' },
    ],
    // 96 096 samples: 499 millionths move them by 48, which is 1 ms at 48 kHz.
    [
      'a drift of less than a millisecond is left',
      beside(0, { startSamples: 0, driftMillionths: 499, parts: 4 }),
      { drift: 0 },
    ],
    [
      'one of more is taken out',
      beside(2002, { startSamples: 2002, driftMillionths: 1000, parts: 4 }),
      // 2002 of the recorder are 2000 of the clip.
      { drift: 1000, from: 0, startOffset: 2000, samples: PICTURE - 2000 },
    ],
  ])('%s', (_what, where, wanted) => {
    expect(placeOf(carried(boom, where))).toMatchObject(wanted);
  });

  test('by what both heard it lies beside no frame: nothing is carried', () => {
    expect(carried(boom, beside(-1, { startSamples: -480_000, driftMillionths: 0, parts: 3 }))).toEqual([]);
    expect(carried(boom, beside(-1, { startSamples: PICTURE, driftMillionths: 0, parts: 3 }))).toEqual([]);
  });
});
