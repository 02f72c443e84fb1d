/** What a make's end is called, and whether another attempt is asked for: literals in, literals out. No program runs. */
import { describe, expect, test } from 'vitest';
import type { RunResult } from '../../process/run.ts';
import {
  classifyMake,
  looksDamaged,
  type SourceDecode,
  type TargetState,
  targetFailure,
} from '../../worker/classify.ts';
import { newWatched, type Watched, watchLine } from '../../worker/watch.ts';

const subject = { roll: 'A001', clip: 'A001C001' };
const FRAMES = 24;

/** An encoder that ended by itself with 0. */
function ended(more: Partial<RunResult> = {}): RunResult {
  return {
    command: 'ffmpeg',
    args: [],
    reason: 'exited',
    exitCode: 0,
    signal: null,
    forced: false,
    lingering: false,
    milliseconds: 100,
    stderr: '',
    startError: null,
    ...more,
  };
}
/** Every frame left the decoder and nothing was complained of. */
function watched(more: Partial<Watched> = {}): Watched {
  return { ...newWatched(), decoded: FRAMES, size: '320x180', ...more };
}
const complaint = { errors: ['corrupt slice'], errorCount: 1 };
const audio: SourceDecode = { frames: 24, errors: [] };

test('an end with 0, every frame and no error is no trouble', () => {
  expect(
    classifyMake({ run: ended(), watched: watched(), frames: FRAMES, source: null }, subject),
  ).toBeNull();
});

describe('how the encoder ended', () => {
  test.each<[string, RunResult, Watched, string, boolean, string]>([
    [
      'not started',
      ended({ reason: 'not-started', exitCode: null, startError: 'no such program' }),
      watched({ decoded: 0 }),
      'encoder-not-started',
      false,
      'no such program',
    ],
    [
      'killed',
      ended({ reason: 'signalled', exitCode: null, signal: 'SIGKILL' }),
      watched({ decoded: 7 }),
      'encoder-killed',
      true,
      'signal SIGKILL after frame 7 of 24',
    ],
    [
      'stalled',
      ended({ reason: 'stalled', exitCode: null, signal: 'SIGTERM' }),
      watched({ decoded: 7 }),
      'encoder-stalled',
      true,
      'no progress after frame 7 of 24',
    ],
    [
      'exit code 7, audio clip',
      ended({ exitCode: 7 }),
      watched(),
      'encoder-failed',
      true,
      'exit code 7; 24 of 24 frames were taken in',
    ],
    [
      'an error told, audio clip',
      ended(),
      watched(complaint),
      'encoder-failed',
      true,
      'corrupt slice; 24 of 24 frames were taken in',
    ],
    [
      'exit code 0 a frame early, audio clip',
      ended(),
      watched({ decoded: 23 }),
      'encoder-failed',
      true,
      'exit code 0; 23 of 24 frames were taken in',
    ],
    [
      'exit code 0 a frame too many, audio clip',
      ended(),
      watched({ decoded: 25 }),
      'encoder-failed',
      true,
      'exit code 0; 25 of 24 frames were taken in',
    ],
  ])('%s', (_title, run, seen, code, retryable, found) => {
    const failure = classifyMake({ run, watched: seen, frames: FRAMES, source: audio }, subject);
    expect(failure?.retryable).toBe(retryable);
    expect(failure?.findings).toEqual([
      expect.objectContaining({ code, found, roll: 'A001', clip: 'A001C001' }),
    ]);
  });
});

describe('what the clip itself says when it is decoded once more', () => {
  test.each<[string, SourceDecode | null, string, boolean, string]>([
    [
      'an error: the clip is damaged, with its frame',
      { frames: 11, errors: ['corrupt slice', 'another'] },
      'clip-decode-error',
      false,
      'error near frame 11 of 24: corrupt slice',
    ],
    [
      'an error at its first frame',
      { frames: 0, errors: ['no picture'] },
      'clip-decode-error',
      false,
      'error near frame 0 of 24: no picture',
    ],
    [
      'fewer frames, without a word',
      { frames: 20, errors: [] },
      'clip-decode-error',
      false,
      '20 frames decode',
    ],
    [
      'nothing at all, without a word: no witness against the clip',
      { frames: 0, errors: [] },
      'encoder-failed',
      true,
      'corrupt slice; 11 of 24 frames were taken in',
    ],
    [
      'it was not asked: nothing is said against the clip',
      null,
      'encoder-failed',
      true,
      'corrupt slice; 11 of 24 frames were taken in',
    ],
  ])('%s', (_title, source, code, retryable, found) => {
    const failure = classifyMake(
      {
        run: ended({ exitCode: 1 }),
        watched: watched({ decoded: 11, ...complaint }),
        frames: FRAMES,
        source,
      },
      subject,
    );
    expect(failure?.retryable).toBe(retryable);
    expect(failure?.findings).toEqual([expect.objectContaining({ code, found })]);
  });
});

describe('a picture that changes its size', () => {
  const line = (n: number, size: string): string =>
    `[Parsed_showinfo_0 @ 0x55d0c0ffee00] [info] n:${String(n).padStart(4)} pts:${n} pts_time:0 duration:1 fmt:yuv420p cl:left sar:1/1 s:${size} i:P iskey:1 type:I`;

  test.each<[string, RunResult]>([
    ['also when the encoder ends with 0', ended()],
    ['rather than the failure that follows from it', ended({ exitCode: 1 })],
    [
      'rather than the signal that ended it',
      ended({ reason: 'signalled', exitCode: null, signal: 'SIGSEGV' }),
    ],
  ])('is reported with its first frame, %s', (_title, run) => {
    const seen = newWatched();
    for (let n = 0; n < 24; n += 1) watchLine(seen, line(n, n < 10 ? '320x180' : '160x90'));
    const failure = classifyMake({ run, watched: seen, frames: FRAMES, source: null }, subject);
    expect(failure?.retryable).toBe(false);
    expect(failure?.findings).toEqual([
      expect.objectContaining({
        code: 'clip-raster-changes',
        found: '160x90 from frame 10 on',
        expected: '320x180 throughout',
      }),
    ]);
  });
});

test.each<[string, RunResult, Watched, boolean]>([
  ['a good end', ended(), watched(), false],
  ['another exit code', ended({ exitCode: 1 }), watched(), true],
  ['an error told', ended(), watched(complaint), true],
  ['a frame missing', ended(), watched({ decoded: 23 }), true],
  [
    'killed: says nothing of the clip',
    ended({ reason: 'signalled', exitCode: null, signal: 'SIGKILL' }),
    watched({ decoded: 3 }),
    false,
  ],
  [
    'stalled: says nothing of the clip',
    ended({ reason: 'stalled', exitCode: null }),
    watched({ decoded: 3 }),
    false,
  ],
])('whether the clip must be decoded once more: %s', (_title, run, seen, asked) => {
  expect(looksDamaged(run, seen, FRAMES)).toBe(asked);
});

test.each<[Exclude<TargetState, 'good'>, string]>([
  ['full', 'target-full'],
  ['read-only', 'target-read-only'],
  ['gone', 'target-gone'],
])(
  "a target that is %s is the place's trouble, told with its folder, and no attempt of the job is spent on it",
  (state, code) => {
    const failure = targetFailure(state, '/delivery/day-03/A001/cut', subject);
    expect(failure.retryable).toBe(false);
    expect(failure.findings).toEqual([
      expect.objectContaining({ code, file: '/delivery/day-03/A001/cut', clip: 'A001C001' }),
    ]);
  },
);
