import { describe, expect, test } from 'vitest';
import { differences } from '../../coordinator/records/differences.ts';

describe('records are compared field by field', () => {
  test.each<[string, unknown, unknown, [path: string, found: string, expected: string][]]>([
    ['equal, in another order of fields', { a: 1, b: [1, 2] }, { b: [1, 2], a: 1 }, []],
    ['another value', { a: { b: 1 } }, { a: { b: 2 } }, [['a.b', '1', '2']]],
    ['a field that is missing', {}, { a: 'x' }, [['a', 'nothing', 'x']]],
    ['a field too many', { a: null }, {}, [['a', 'null', 'nothing']]],
    ['a field that holds undefined and one that is not there', { a: undefined }, {}, []],
    ['null and an object', { a: null }, { a: { b: 1 } }, [['a', 'null', '{"b":1}']]],
    ['a list and an object', { a: [] }, { a: {} }, [['a', '[]', '{}']]],
    [
      'named entries in another order',
      [
        { name: 'x', v: 1 },
        { name: 'y', v: 2 },
      ],
      [
        { name: 'y', v: 2 },
        { name: 'x', v: 1 },
      ],
      [],
    ],
    [
      'a named entry that differs',
      [
        { name: 'y', v: 2 },
        { name: 'x', v: 1 },
      ],
      [
        { name: 'x', v: 3 },
        { name: 'y', v: 2 },
      ],
      [['[x].v', '1', '3']],
    ],
    [
      'a named entry too many',
      [{ check: 'frames' }, { check: 'audio' }],
      [{ check: 'frames' }],
      [['[audio]', '{"check":"audio"}', 'nothing']],
    ],
    [
      'an entry told twice',
      [{ name: 'x' }, { name: 'x' }],
      [{ name: 'x' }],
      [['[1]', '{"name":"x"}', 'nothing']],
    ],
    [
      'clips, known by their ids',
      [{ clip: { id: 'A' }, v: 1 }],
      [{ clip: { id: 'A' }, v: 2 }],
      [['[A].v', '1', '2']],
    ],
    [
      'entries without names, by their places',
      [1, 2],
      [1, 3, 4],
      [
        ['[1]', '2', '3'],
        ['[2]', 'nothing', '4'],
      ],
    ],
    ['a text and the number that looks like it', { a: '1' }, { a: 1 }, [['a', '1', '1']]],
  ])('%s', (_, found, expected, list) => {
    expect(differences(found, expected).map((item) => [item.path, item.found, item.expected])).toEqual(list);
  });

  test('but for the fields that may differ, wherever they stand', () => {
    expect(
      differences(
        { at: 1, a: [{ name: 'x', at: 2 }] },
        { at: 3, a: [{ name: 'x', at: 4 }] },
        new Set(['at']),
      ),
    ).toEqual([]);
  });
});
