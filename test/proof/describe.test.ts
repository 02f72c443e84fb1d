/** Clips of many frames, as frames that are matched already: what is said of them does not depend on the size of the stack. */
import { expect, test } from 'vitest';
import { describeOrder } from '../../proof/describe.ts';
import type { FrameMatch } from '../../proof/match.ts';

/** Delivered frames; the source has twice as many, four hours and a half at 24 frames a second. */
const MANY = 200_000;

test('every second frame of a long clip is missing: each gap is named, however many there are', () => {
  const frames = Array.from(
    { length: MANY },
    (_, frame): FrameMatch =>
      frame === 0
        ? { state: 'right', shows: 0, residual: 0 }
        : { state: 'wrong', shows: 2 * frame, residual: 900 },
  );
  const differences = describeOrder(frames, 2 * MANY, () => null);
  const missing = differences.filter(({ kind }) => kind === 'missing');
  expect(missing).toHaveLength(MANY);
  expect(missing[0]).toEqual({ kind: 'missing', from: 1, to: 1, by: null });
  expect(missing.at(-1)).toEqual({ kind: 'missing', from: 2 * MANY - 1, to: 2 * MANY - 1, by: null });
});
