/** Which file a frame of a clip is in, and which frame of that. */
import { expect, test } from 'vitest';
import { sourceNameAt } from '../../profiles/master/source-name.ts';

const parts = [
  { file: 'C012C001.mov', frames: 24 },
  { file: 'C012C001_1.mov', frames: 1 },
  { file: 'C012C001_2.mov', frames: 16 },
];

test.each<[number, string, number]>([
  [0, 'C012C001.mov', 0],
  [23, 'C012C001.mov', 23],
  [24, 'C012C001_1.mov', 0],
  [25, 'C012C001_2.mov', 0],
  [40, 'C012C001_2.mov', 15],
  // Threads are given the words of a further frame before the pipe says that there is none.
  [41, 'C012C001_2.mov', 16],
])('frame %i of a spanned clip', (index, file, frame) => {
  expect(sourceNameAt({ parts }, index)).toEqual({ file, frame });
});

test('numbered frames have their own number, a movie counts from 0', () => {
  expect(sourceNameAt({ prefix: 'a_', suffix: '.dpx', padding: 4, first: 900 }, 3)).toEqual({
    file: 'a_0903.dpx',
    frame: 903,
  });
  expect(sourceNameAt({ file: 'a.mov' }, 3)).toEqual({ file: 'a.mov', frame: 3 });
});
