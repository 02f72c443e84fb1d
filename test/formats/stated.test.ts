/** What frames state, put together for their clip: once where it stays, by frame where it changes, and what has no place with its reason. */
import { describe, expect, test } from 'vitest';
import {
  type StatedFrame,
  StatedGatherer,
  statedOfFrames,
  textObjection,
  valueAt,
} from '../../media/formats/stated.ts';

const frame = (focus: number | null, note = ''): StatedFrame => {
  const said = new StatedGatherer();
  said.float('focus', focus, 'SubjectDistance');
  said.text('note', note, 'note');
  return said.frame();
};

test('a value that stays is there once, one that changes from its frame on, one that ends is null from there', () => {
  const stated = statedOfFrames([frame(3, 'a'), frame(3, 'a'), null, frame(4, 'a'), frame(null, 'a')]);
  expect(stated?.attributes.map(({ name, values }) => [name, values])).toEqual([
    [
      'focus',
      [
        { frame: 0, value: 3 },
        { frame: 3, value: 4 },
        { frame: 4, value: null },
      ],
    ],
    ['note', [{ frame: 0, value: 'a' }]],
  ]);
  const [focus] = stated?.attributes ?? [];
  expect([0, 1, 2, 3, 4].map((index) => valueAt(focus as NonNullable<typeof focus>, index))).toEqual([
    3,
    3,
    3,
    4,
    null,
  ]);
});

test('frames that state nothing make nothing', () => {
  expect(statedOfFrames([frame(null), null])).toBeNull();
});

test('what changes more often than records hold is left out, and the rest stays', () => {
  const stated = statedOfFrames(
    Array.from({ length: 3000 }, (_, index) =>
      frame(3, `line ${index} of a note that changes in every frame`),
    ),
  );
  expect(stated?.attributes.map(({ name }) => name)).toEqual(['focus']);
  expect(stated?.left).toEqual([{ name: 'note', why: 'changes 3000 times: more than the records hold' }]);
});

describe('a text that says where a file lies is no text of a header', () => {
  test.each([
    '/shows/bell/x.exr',
    'made of /shows/bell',
    'C:\\shows\\bell.exr',
    '\\\\server\\bell',
    '~/bell',
    'file://host/bell',
    'plates/bell.exr',
    'input=/shows/bell',
  ])('%j', (text) => {
    expect(textObjection(text)).toBe('holds a path');
  });
  test.each([
    '24/1',
    '1/50 s',
    '50 mm f/2.8',
    '24-70 mm, f/2.8-4',
    'C sharp / D flat',
    '2026:11:25 10:20:30',
    'a.b',
  ])('%j is carried', (text) => {
    expect(textObjection(text)).toBeNull();
  });
});
