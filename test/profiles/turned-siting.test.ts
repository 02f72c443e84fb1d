/** ITU-T H.273, figure 10: where chroma lies in its cell; turned with the picture by hand. */
import { expect, test } from 'vitest';
import { turnedSiting } from '../../profiles/master/ground.ts';

test.each<[string, 0 | 90 | 180 | 270, string]>([
  ['left', 0, 'left'],
  ['left', 90, 'top'],
  ['left', 180, 'right'],
  ['left', 270, 'bottom'],
  ['topleft', 270, 'bottomleft'],
  ['topleft', 90, 'topright'],
  ['bottomleft', 90, 'topleft'],
  ['center', 180, 'center'],
])('chroma at %s, turned by %i degrees clockwise, lies at %s', (siting, turn, expected) => {
  expect(turnedSiting(siting, turn)).toBe(expected);
});
