/** The colours of every frame against its source frame: one frame that is green, has Cb and Cr exchanged, or lost its colours; and the errors of codecs, which are none. */
import { describe, expect, test } from 'vitest';
import { offColours } from '../../proof/chroma.ts';
import { CELLS, COLOUR_CELLS, type FrameFingerprints } from '../../proof/form.ts';

const FRAMES = 48;
const GREY = 128 * 256;
const basis = { matrix: 'bt709', range: 'limited' } as const;
type Paint = (frame: number, cell: number, plane: 0 | 1) => number;

/** Steps of 8 bits from grey. */
function drawn(paint: Paint): FrameFingerprints {
  const colour = new Uint16Array(FRAMES * 2 * COLOUR_CELLS);
  for (let frame = 0; frame < FRAMES; frame += 1)
    for (const plane of [0, 1] as const)
      for (let cell = 0; cell < COLOUR_CELLS; cell += 1)
        colour[(2 * frame + plane) * COLOUR_CELLS + cell] =
          GREY + Math.round(256 * paint(frame, cell, plane));
  return { frames: FRAMES, views: 1, luma: new Uint16Array(FRAMES * CELLS).fill(120 * 256), colour };
}
/** Muted colours that move: red and blue up to 14 steps from grey. */
const muted: Paint = (frame, cell, plane) =>
  (plane === 0 ? 10 : -14) * Math.sin(cell / 9 + frame / 11 + plane) + 3;
const unsteady = (size: number): Paint => {
  let state = 1;
  return () => {
    state = (state * 1_103_515_245 + 12_345) % 2_147_483_648;
    return size * (state / 1_073_741_824 - 1);
  };
};

function offIn(output: Paint): number[] {
  return offColours({
    source: drawn(muted),
    output: drawn(output),
    seen: new Uint8Array(CELLS).fill(1),
    frames: new Set(Array.from({ length: FRAMES }, (_, frame) => frame)),
    basis: { source: basis, output: basis },
  }).map(({ frame }) => frame);
}
const inFrame =
  (wrong: number, paint: Paint): Paint =>
  (frame, cell, plane) =>
    frame === wrong ? paint(frame, cell, plane) : muted(frame, cell, plane);

describe('a fault in a single frame', () => {
  test.each<[string, Paint]>([
    ['green', () => -112],
    ['Cb and Cr exchanged', (frame, cell, plane) => muted(frame, cell, plane === 0 ? 1 : 0)],
    ['without colour', () => 0],
    ['half of its colour', (frame, cell, plane) => muted(frame, cell, plane) / 2],
  ])('%s', (_what, paint) => {
    for (const frame of [0, 5, FRAMES - 1]) expect(offIn(inFrame(frame, paint))).toEqual([frame]);
  });
});

test('colours lost in every frame but those that stand where colour once was looked at', () => {
  const strong: Paint = (frame, cell, plane) => 5 * muted(frame, cell, plane);
  const found = offColours({
    source: drawn(strong),
    output: drawn((frame, cell, plane) => (frame % 24 === 0 ? strong(frame, cell, plane) : 0)),
    seen: new Uint8Array(CELLS).fill(1),
    frames: new Set(Array.from({ length: FRAMES }, (_, frame) => frame)),
    basis: { source: basis, output: basis },
  });
  expect(found.length).toBeGreaterThan(40);
});

describe('no fault', () => {
  test('a codec that errs by up to two steps, another way in every frame', () => {
    const error = unsteady(2);
    expect(offIn((...at) => muted(...at) + error(...at))).toEqual([]);
  });
  test('a codec that rounds to six steps', () => {
    expect(offIn((...at) => 6 * Math.round(muted(...at) / 6))).toEqual([]);
  });
});
