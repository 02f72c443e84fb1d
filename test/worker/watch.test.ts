/** What encoders state while they run. */
import { expect, test } from 'vitest';
import { newWatched, watchLine } from '../../worker/watch.ts';

// As x265 3.5 prints it; of each kind of picture how many there are, and their mean.
const LINES = [
  'x265 [info]: frame I:      2, Avg QP:17.90  kb/s: 993.10    PSNR Mean: Y:52.754 U:49.552 V:49.768',
  'x265 [info]: frame P:      7, Avg QP:21.01  kb/s: 557.46    PSNR Mean: Y:48.589 U:46.730 V:46.909',
  'x265 [info]: frame B:     31, Avg QP:26.97  kb/s: 227.12    PSNR Mean: Y:45.633 U:44.005 V:44.056',
  'x265 [info]: Weighted P-Frames: Y:0.0% UV:0.0%',
  '',
  'encoded 40 frames in 0.79s (50.79 fps), 323.23 kb/s, Avg QP:25.48, Global PSNR: 46.079',
];

test('the mean PSNR of all pictures of an H.265 encoder is put together of those of each kind', () => {
  const watched = newWatched();
  for (const line of [...LINES, ...LINES]) watchLine(watched, line);
  expect(watched.psnrOfH265).toHaveLength(2);
  const [[y, cb, cr] = [0, 0, 0]] = watched.psnrOfH265;
  // 2 of 40, 7 of 40, 31 of 40.
  expect(y).toBeCloseTo(46.506, 3);
  expect(cb).toBeCloseTo(44.759, 3);
  expect(cr).toBeCloseTo(44.841, 3);
});

test('nothing is taken of an encoder that states it of fewer pictures than it encoded', () => {
  const watched = newWatched();
  for (const line of LINES.slice(1)) watchLine(watched, line);
  expect(watched.psnrOfH265).toEqual([]);
});
