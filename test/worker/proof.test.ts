/** Whether fingerprints are whole and of this clip: literals. */
import { describe, expect, test } from 'vitest';
import type { Job } from '../../ledger/job.ts';
import { CELLS } from '../../proof/form.ts';
import type { SourceFingerprints } from '../../proof/source-fingerprints.ts';
import { takenFailure, fingerprintFailure } from '../../worker/proof.ts';
import { spotDifference } from '../../worker/spot.ts';
import { spotFrames } from '../../worker/spot-frames.ts';
import { clipFacts } from '../support/facts.ts';
import { jobOf } from '../support/jobs.ts';

const job: Job = { ...jobOf(1, 'run'), facts: clipFacts(), span: { start: 0, count: 48 } };
const ticks = Array.from({ length: 48 }, (_, frame) => frame * 1001);
const fingerprints = (over: { frames?: number; ticks?: readonly number[] } = {}): SourceFingerprints => ({
  picture: {
    frames: over.frames ?? 48,
    views: 1,
    luma: new Uint16Array((over.frames ?? 48) * CELLS),
    colour: null,
  },
  times: { timeBase: { num: 1, den: 24_000 }, ticks: Float64Array.from(over.ticks ?? ticks) },
  audioTracks: [],
});

describe('the fingerprints of a decode', () => {
  test('with a picture and a time for every frame, evenly, is whole', () => {
    expect(fingerprintFailure(job, fingerprints())).toBeNull();
    // The start is the reader's own affair, and a coarser clock rounds.
    expect(fingerprintFailure(job, fingerprints({ ticks: ticks.map((time) => time + 777) }))).toBeNull();
  });

  test.each<[string, SourceFingerprints | null]>([
    ['absent', null],
    ['a picture short', fingerprints({ frames: 47 })],
    ['a picture too many', fingerprints({ frames: 49 })],
    ['a time short', fingerprints({ ticks: ticks.slice(1) })],
    ['a frame without a time', fingerprints({ ticks: ticks.with(7, Number.NaN) })],
    ['a gap', fingerprints({ ticks: ticks.map((time, frame) => (frame > 20 ? time + 1001 : time)) })],
    ['one time twice', fingerprints({ ticks: ticks.with(8, ticks[7] as number) })],
    ['another rate', fingerprints({ ticks: ticks.map((_, frame) => frame * 1000) })],
  ])('%s holds', (_title, spoiled) => {
    expect(fingerprintFailure(job, spoiled)?.findings.map((item) => item.code)).toEqual([
      'decode-times-differ',
    ]);
  });
});

describe('of a stretch from frame 100 on', () => {
  const stretched = (audio: Job['facts']['audio'] = []): Job => ({
    ...job,
    facts: { ...job.facts, audio },
    clip: { ...job.clip, stretch: { start: 100, frames: 48, day: 'day-03' } },
  });
  const from = (first: number): SourceFingerprints =>
    fingerprints({ ticks: ticks.map((time) => Math.round(time + first * 1001)) });
  test('the first frame has the time of frame 100', () => {
    expect(fingerprintFailure(stretched(), from(100))).toBeNull();
    // A coarser clock rounds.
    expect(fingerprintFailure(stretched(), from(100.4))).toBeNull();
  });
  test.each([0, 99, 101])('a count that came to the time of frame %i holds', (first) => {
    expect(fingerprintFailure(stretched(), from(first))?.findings.map(({ code }) => code)).toEqual([
      'decode-times-differ',
    ]);
  });
  test('where audio begins first, the clock does', () => {
    const [track] = clipFacts().audio;
    if (track === undefined) throw new Error('a clip with audio is wanted');
    // Two frames of 2002 samples at 48 kHz.
    const audio = [{ ...track, sampleRate: 48_000, startOffset: -4004 }];
    expect(fingerprintFailure(stretched(audio), from(102))).toBeNull();
    expect(fingerprintFailure(stretched(audio), from(100))).not.toBeNull();
  });
});

describe('what was read of the source', () => {
  const two = {
    streams: [
      { kind: 'v', hash: 'aa' },
      { kind: 'a', hash: 'bb' },
    ],
  };
  test('twice the same is good', () => {
    expect(takenFailure(job, { taken: two, there: two })).toBeNull();
  });
  test.each([
    [
      'other packets',
      {
        taken: {
          streams: [
            { kind: 'v', hash: 'ab' },
            { kind: 'a', hash: 'bb' },
          ],
        },
        there: two,
      },
    ],
    ['nothing taken in', { taken: { streams: [] }, there: two }],
    ['nothing read beside', { taken: two, there: { streams: [] } }],
    ['nothing at all', { taken: { streams: [] }, there: { streams: [] } }],
    [
      'a track fewer in both',
      { taken: { streams: two.streams.slice(0, 1) }, there: { streams: two.streams.slice(0, 1) } },
    ],
  ])('%s holds', (_title, source) => {
    expect(takenFailure(job, source)?.findings.map((item) => item.code)).toEqual(['source-read-differs']);
  });
});

test('spots: the first frame, and one that the content chooses', () => {
  expect(spotFrames('0000000000ff', 48, 'proxy')).toEqual([0, 255 % 48]);
  expect(spotFrames('000000000000', 48, 'proxy')).toEqual([0]);
  expect(spotFrames('no hex', 1, 'proxy')).toEqual([0]);
});

test('the difference of two spots is the root mean square over all cells', () => {
  const flat = (value: number) => ({
    frames: 1,
    views: 1 as const,
    luma: new Uint16Array(CELLS).fill(value),
    colour: null,
  });
  expect(spotDifference(flat(1000), 0, flat(1300), 0)).toBe(300);
});
