/** A decision that is wrong, and a file that is as it was decided: the checks find it all the same, by the clip. */
import { expect, test } from 'vitest';
import type { CheckInput } from '../../check/check.ts';
import { audio } from '../../check/checks/audio.ts';
import { duration } from '../../check/checks/duration.ts';
import { frames } from '../../check/checks/frames.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { ratio } from '../../media/time/rate.ts';
import type { Outcome } from '../../profiles/outcome.ts';
import { audioFacts, clipFacts, type videoFacts } from '../support/facts.ts';
import { outcome as anyOutcome } from '../support/world.ts';

const film = ratio(24000, 1001);
const fast = ratio(60000, 1001);
const source = clipFacts({
  video: { frames: 60, rate: fast },
  timing: { projectRate: film, offSpeed: 'project-rate' },
});
const slow: Outcome = {
  ...anyOutcome,
  frames: 60,
  rate: film,
  cadence: {
    ...anyOutcome.cadence,
    offSpeed: { captured: fast, slower: ratio(5, 2), audio: 'leave-out' },
  },
};
/** `facts`: of the file. */
const input = (facts: ClipFacts, outcome: Outcome, of: ClipFacts = source): CheckInput => ({
  measured: {
    digest: { bytes: 1, xxh128: '', sha256: '', changed: 0n, modified: 0n, device: 0n, inode: 0n },
    facts,
    evidence: null,
    decode: null,
    witness: null,
    movie: null,
    matroska: null,
  },
  outcome,
  source: of,
  compared: { picture: null, audioTracks: [], exact: null },
  pictureError: null,
  encoded: null,
  contentLight: null,
});
const file = (over: Parameters<typeof videoFacts>[0], tracks: ClipFacts['audio'] = []): ClipFacts =>
  clipFacts({ video: { frames: 60, ...over }, audio: tracks });
const codes = (verdict: ReturnType<typeof duration.run>): string[] =>
  verdict === null ? ['not run'] : verdict.faults.map(({ code }) => code);

test.each<[string, Outcome, ClipFacts, string[]]>([
  ['at the rate of the project', slow, file({}), []],
  [
    'the rate of the clip, decided so',
    { ...slow, rate: fast },
    file({ rate: fast, timeBase: ratio(1, 60_000), endTime: 60 * 1001 }),
    ['duration-differs'],
  ],
  [
    'another factor',
    {
      ...slow,
      cadence: { ...slow.cadence, offSpeed: { captured: fast, slower: ratio(2), audio: 'leave-out' } },
    },
    file({}),
    ['duration-differs'],
  ],
  [
    'another rate, decided so',
    { ...slow, rate: ratio(24) },
    file({ rate: ratio(24), timeBase: ratio(1, 24), endTime: 60 }),
    ['duration-differs'],
  ],
])('duration: %s', (_title, outcome, facts, expected) => {
  expect(codes(duration.run(input(facts, outcome)))).toEqual(expected);
});

// 60 frames at 60000/1001 are 48 048 samples; two and a half times as many were stretched.
test.each<[string, number, string[]]>([
  ['as it was heard', 48_048, []],
  ['stretched to the picture, decided so', 120_120, ['audio-differs']],
])('audio in real time: %s', (_title, samples, expected) => {
  const track = {
    sourceTrack: 0,
    codec: 'pcm_s24le',
    sampleRate: 48_000,
    channels: 2,
    layout: 'stereo',
    samples,
    tolerance: 0,
    bitsPerSecond: null,
    beside: null,
    recording: null,
    covered: null,
  };
  const outcome: Outcome = {
    ...slow,
    audio: [track],
    cadence: { ...slow.cadence, offSpeed: { captured: fast, slower: ratio(5, 2), audio: 'real-time' } },
  };
  expect(codes(audio.run(input(file({}, [audioFacts({ samples })]), outcome)))).toEqual(expected);
});

test('audio that was to be left out', () => {
  const track = {
    sourceTrack: 0,
    codec: 'pcm_s24le',
    sampleRate: 48_000,
    channels: 2,
    layout: 'stereo',
    samples: 48_048,
    tolerance: 0,
    bitsPerSecond: null,
    beside: null,
    recording: null,
    covered: null,
  };
  expect(
    codes(audio.run(input(file({}, [audioFacts({ samples: 48_048 })]), { ...slow, audio: [track] }))),
  ).toEqual(['audio-differs']);
});

// Instants at 0, 3000, 6000, 9000, 12000; frames at 0, 3100, 6000, 12000.
const varying = clipFacts({
  video: {
    frames: 4,
    rate: ratio(30),
    timeBase: ratio(1, 90_000),
    endTime: 15_000,
    stepsInOrder: [
      [3100, 1],
      [2900, 1],
      [6000, 1],
    ],
    rateConstant: false,
  },
});
test.each<[string, NonNullable<Outcome['cadence']['constant']>, string[]]>([
  [
    'as the times are',
    {
      repeated: [
        [0, 2],
        [2, 2],
      ],
      leftOut: [1],
    },
    [],
  ],
  [
    'off by one',
    {
      repeated: [
        [1, 2],
        [2, 2],
      ],
      leftOut: [0],
    },
    ['frame-count-differs'],
  ],
  ['every frame once', { repeated: [[3, 2]], leftOut: [] }, ['frame-count-differs']],
])('frames on a grid: %s', (_title, constant, expected) => {
  const outcome: Outcome = {
    ...anyOutcome,
    frames: 5,
    rate: ratio(30),
    cadence: { ...anyOutcome.cadence, constant },
  };
  const facts = file({ frames: 5, claimedFrames: 5, rate: ratio(30) });
  expect(codes(frames.run(input(facts, outcome, varying)))).toEqual(expected);
});
