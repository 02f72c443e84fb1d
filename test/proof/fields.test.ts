/** Which moment of a frame's two fields the delivered frame is of: made up fields, so that nothing but what a row says tells them apart. */
import { expect, test } from 'vitest';
import { CELLS, GRID_WIDTH } from '../../proof/form.ts';
import { fieldOrderOf } from '../../proof/fields.ts';
import type { Coding } from '../../proof/match.ts';
import { Pictures } from '../../proof/pictures.ts';

const FRAMES = 24;
const MIDDLE = 128 * 256;
type Scene = (moment: number, cell: number, lower: boolean) => number;

/** Waves that go down and across the picture, four cells a frame. */
const moving: Scene = (moment, cell) =>
  MIDDLE + 4000 * Math.sin((cell % GRID_WIDTH) / 3 + Math.floor(cell / GRID_WIDTH) / 2 + moment / 2);
const still: Scene = (_moment, cell) => moving(0, cell, false);
/** One field a line below the other, where nothing moves: the same difference in every frame. */
const apart =
  (scene: Scene): Scene =>
  (moment, cell, lower) =>
    scene(moment, cell, lower) + (lower ? 1500 * Math.cos(cell) : 0);
const flickering =
  (scene: Scene): Scene =>
  (moment, cell, lower) =>
    scene(moment, cell, lower) - (lower ? 8 * 256 : 0);
const fading =
  (scene: Scene): Scene =>
  (moment, cell, lower) =>
    scene(moment, cell, lower) - 200 * moment;

const everywhere = new Uint8Array(CELLS).fill(1);
const picturesOf = (value: (frame: number, cell: number) => number): Pictures =>
  new Pictures(
    Uint16Array.from({ length: FRAMES * CELLS }, (_, at) =>
      Math.round(value(Math.floor(at / CELLS), at % CELLS)),
    ),
    1,
    0,
    everywhere,
  );

/** Delivered is the scene at moment 2 * frame + `shown`, between the lines of both fields. */
function orderOf(scene: Scene, shown: number, coding: Coding = 'intra'): string {
  const delivered = picturesOf(
    (frame, cell) => (scene(2 * frame + shown, cell, false) + scene(2 * frame + shown, cell, true)) / 2,
  );
  return fieldOrderOf({
    earlier: picturesOf((frame, cell) => scene(2 * frame, cell, false)),
    later: picturesOf((frame, cell) => scene(2 * frame + 1, cell, true)),
    output: delivered,
    levels: { gain: 1, offset: 0 },
    coding,
  });
}

test.each<[string, Scene, number, string]>([
  ['of the earlier field', moving, 0, 'right'],
  ['of the later field', moving, 1, 'reversed'],
  ['of the earlier field, the fields a line apart', apart(moving), 0, 'right'],
  ['of the later field, the fields a line apart', apart(moving), 1, 'reversed'],
  ['of the earlier field, one field darker for good', flickering(moving), 0, 'right'],
  ['of the later field, one field darker for good', flickering(moving), 1, 'reversed'],
  ['of the later field of a fade in which things move', fading(moving), 1, 'reversed'],
  ['half way between the two', moving, 0.5, 'unproven'],
  ['of the next frame: not a question of fields', moving, 2, 'unproven'],
  ['of the frame before: not a question of fields', moving, -2, 'unproven'],
  ['where nothing moves', still, 0, 'unproven'],
  ['where nothing moves, the fields a line apart', apart(still), 1, 'unproven'],
  ['where nothing moves but one field is darker for good', flickering(still), 1, 'unproven'],
])('%s', (_title, scene, shown, order) => {
  expect(orderOf(scene, shown)).toBe(order);
});

test('faint motion is told where every picture is coded by itself, and not where pictures are predicted', () => {
  const faint: Scene = (moment, cell) => MIDDLE + (moving(moment, cell, false) - MIDDLE) / 250;
  expect([orderOf(faint, 1, 'intra'), orderOf(faint, 1, 'predicted')]).toEqual(['reversed', 'unproven']);
});

test('of one frame nothing can be reported, and of none neither', () => {
  const one = (value: number): Pictures => new Pictures(new Uint16Array(CELLS).fill(value), 1, 0, everywhere);
  const none = new Pictures(new Uint16Array(0), 1, 0, everywhere);
  const asked = { levels: { gain: 1, offset: 0 }, coding: 'intra' } as const;
  expect(fieldOrderOf({ earlier: one(1000), later: one(2000), output: one(2000), ...asked })).toBe(
    'unproven',
  );
  expect(fieldOrderOf({ earlier: none, later: none, output: none, ...asked })).toBe('unproven');
});
