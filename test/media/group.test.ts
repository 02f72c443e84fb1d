import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { frameName } from '../../media/input.ts';
import { groupStills } from '../../media/sequence/group.ts';

const list = (...paths: string[]): { path: string; bytes: number }[] =>
  paths.map((path) => ({ path, bytes: 10 }));
const only = (...paths: string[]) => {
  const { groups, single } = groupStills(list(...paths));
  expect(single).toEqual([]);
  expect(groups).toHaveLength(1);
  return groups[0] as NonNullable<(typeof groups)[0]>;
};

describe('numbered stills', () => {
  test.each<[what: string, paths: string[], expected: object]>([
    [
      'padded',
      ['a/f.0009.dpx', 'a/f.0010.dpx', 'a/f.0011.dpx'],
      { folder: 'a', prefix: 'f.', suffix: '.dpx', padding: 4 },
    ],
    ['not padded', ['f9.dpx', 'f10.dpx'], { folder: '', prefix: 'f', suffix: '.dpx', padding: 0 }],
    ['of one length without zeros', ['f100.exr', 'f101.exr'], { padding: 3 }],
    ['padded and then longer', ['f099.tif', 'f100.tif', 'f101.tif'], { padding: 3 }],
    [
      'numbers earlier in the name',
      ['A001C002_0001.dng', 'A001C002_0002.dng'],
      { prefix: 'A001C002_', padding: 4 },
    ],
    ['letters behind the number', ['f0001_L.dpx', 'f0002_L.dpx'], { prefix: 'f', suffix: '_L.dpx' }],
    ['a hyphen before the number is no minus', ['f-0001.dpx', 'f-0002.dpx'], { prefix: 'f-' }],
  ])('%s', (_what, paths, expected) => {
    const group = only(...paths);
    expect(group).toMatchObject({ ...expected, gaps: [], duplicates: [], otherwiseWritten: [], rest: [] });
    expect(group.run.map(({ file }) => file.path).sort()).toEqual([...paths].sort());
  });

  test('padding grows beyond its length without a break', () => {
    const group = only('f8.dpx', 'f9.dpx', 'f10.dpx');
    expect(group.run.map(({ number }) => number)).toEqual([8, 9, 10]);
    const padded = only('f0998.dpx', 'f0999.dpx', 'f1000.dpx');
    expect(padded.run).toHaveLength(3);
  });

  test('gaps are named, and the run ends before the first', () => {
    const group = only('f.001.dpx', 'f.002.dpx', 'f.005.dpx', 'f.006.dpx', 'f.009.dpx');
    expect(group.gaps).toEqual([
      { from: 3, to: 4 },
      { from: 7, to: 8 },
    ]);
    expect(group.run.map(({ number }) => number)).toEqual([1, 2]);
    expect(group.rest.map(({ path }) => path)).toEqual(['f.005.dpx', 'f.006.dpx', 'f.009.dpx']);
  });

  test('1 and 0001 are one number', () => {
    const group = only('f0001.dpx', 'f0002.dpx', 'f1.dpx');
    expect(group.duplicates).toEqual([{ number: 1, files: ['f0001.dpx', 'f1.dpx'] }]);
    expect(group.run.map(({ file }) => file.path)).toEqual(['f0001.dpx', 'f0002.dpx']);
    expect(group.rest.map(({ path }) => path)).toEqual(['f1.dpx']);
  });

  test('numbers written in two ways', () => {
    const group = only('f0001.dpx', 'f0002.dpx', 'f3.dpx', 'f0004.dpx');
    expect(group.otherwiseWritten).toEqual(['f3.dpx']);
    expect(group.run.map(({ number }) => number)).toEqual([1, 2]);
  });

  test('no number, or one that counts nothing, is single', () => {
    expect(groupStills(list('slate.dpx', 'f12345678901234567.dpx')).single).toHaveLength(2);
  });

  test('whatever the numbers, the run is read back by its pattern, and no file is lost', () => {
    fc.assert(
      fc.property(
        fc.uniqueArray(fc.nat(2000), { minLength: 1, maxLength: 60 }),
        fc.nat(6),
        (numbers, padding) => {
          const files = list(...numbers.map((number) => `f_${String(number).padStart(padding, '0')}.exr`));
          const { groups } = groupStills(files);
          const group = groups[0] as NonNullable<(typeof groups)[0]>;
          for (const { number, file } of group.run) expect(frameName(group, number)).toBe(file.path);
          expect(group.run.length + group.rest.length).toBe(files.length);
          expect(group.run.map(({ number }) => number)).toEqual(
            group.run.map((_, index) => Math.min(...numbers) + index),
          );
          const missing = group.gaps.reduce((sum, gap) => sum + gap.to - gap.from + 1, 0);
          expect(missing + numbers.length).toBe(Math.max(...numbers) - Math.min(...numbers) + 1);
        },
      ),
    );
  });
});
