/** Histories of several generations. The rules are those of the ASC MHL specification v1.0: actions and previousPath. */
import { describe, expect, test } from 'vitest';
import { foldGenerations } from '../../files/manifest/fold.ts';
import type { FileRecord, Generation, MhlAction } from '../../files/manifest/generation.ts';
import { readHistory } from '../../files/manifest/history.ts';

const [GOOD, BAD] = ['a'.repeat(16), 'b'.repeat(16)];

function file(
  path: string,
  value: string,
  action: MhlAction | null,
  previousPath: string | null = null,
): FileRecord {
  return {
    path,
    bytes: value === BAD ? 9 : 5,
    hashes: [{ algorithm: 'xxh64', value, action }],
    previousPath,
  };
}

function generation(files: FileRecord[], folders: Generation['folders'] = []): Generation {
  return { files, folders, references: [], ignore: [], findings: [] };
}

function fold(...generations: Generation[]): ReturnType<typeof foldGenerations> {
  return foldGenerations(
    generations.map((item, index) => ({ generation: item, manifest: `000${index + 1}.mhl` })),
  );
}

const bell = (value: string): object => ({
  path: 'bell.mov',
  bytes: value === BAD ? 9 : 5,
  hashes: [{ algorithm: 'xxh64', value }],
});

describe('records of one file', () => {
  const tables: [what: string, records: FileRecord[], statement: object, codes: string[]][] = [
    [
      'what was verified again is stated once',
      [file('bell.mov', GOOD, 'original'), file('bell.mov', GOOD, 'verified')],
      bell(GOOD),
      [],
    ],
    [
      'what failed states nothing: the recorded value and size stand, and it is reported',
      [file('bell.mov', GOOD, 'original'), file('bell.mov', BAD, 'failed')],
      bell(GOOD),
      ['manifest-failure 0002.mhl'],
    ],
    [
      'what failed and was good later is reported as settled',
      [
        file('bell.mov', GOOD, 'original'),
        file('bell.mov', BAD, 'failed'),
        file('bell.mov', GOOD, 'verified'),
      ],
      bell(GOOD),
      ['manifest-failure-settled 0002.mhl'],
    ],
    [
      'what failed once more after that is not settled',
      [
        file('bell.mov', GOOD, 'original'),
        file('bell.mov', GOOD, 'verified'),
        file('bell.mov', BAD, 'failed'),
      ],
      bell(GOOD),
      ['manifest-failure 0003.mhl'],
    ],
    [
      'a verified value that nobody recorded before is a contradiction, and the newest counts',
      [file('bell.mov', GOOD, 'original'), file('bell.mov', BAD, 'verified')],
      bell(BAD),
      ['manifest-contradiction 0002.mhl'],
    ],
    [
      'a new original replaces the old one, and it is reported',
      [file('bell.mov', GOOD, 'original'), file('bell.mov', BAD, 'original')],
      bell(BAD),
      ['manifest-superseded 0002.mhl'],
    ],
    [
      'a record without an action is a statement (flattened lists)',
      [file('bell.mov', GOOD, null)],
      bell(GOOD),
      [],
    ],
  ];
  test.each(tables)('%s', (_, records, statement, codes) => {
    const folded = fold(...records.map((record) => generation([record])));
    expect(folded.statements).toEqual([statement]);
    expect(folded.findings.map(({ code, file: about }) => `${code} ${about}`)).toEqual(codes);
  });

  test('values of several algorithms from several generations all count', () => {
    const second: FileRecord = {
      path: 'bell.mov',
      bytes: 5,
      hashes: [{ algorithm: 'md5', value: 'c'.repeat(32), action: 'verified' }],
      previousPath: null,
    };
    expect(
      fold(generation([file('bell.mov', GOOD, 'original')]), generation([second])).statements[0]?.hashes,
    ).toEqual([
      { algorithm: 'xxh64', value: GOOD },
      { algorithm: 'md5', value: 'c'.repeat(32) },
    ]);
  });
});

test('renames of a file and of a folder carry what was stated to the new path, and leave the old one unlisted', () => {
  const first = generation([file('a/bell.mov', GOOD, 'original'), file('ab.mov', GOOD, 'original')]);
  const second = generation([file('cd.mov', GOOD, 'verified', 'ab.mov')], [{ path: 'b', previousPath: 'a' }]);
  const folded = fold(first, second);
  expect(folded.statements.map(({ path }) => path).sort()).toEqual(['b/bell.mov', 'cd.mov']);
  expect(folded.findings).toEqual([]);
});

test('two files that change places in one generation keep each its own statement', () => {
  const first = generation([file('one.mov', GOOD, 'original'), file('two.mov', BAD, 'original')]);
  const second = generation([
    file('two.mov', GOOD, 'verified', 'one.mov'),
    file('one.mov', BAD, 'verified', 'two.mov'),
  ]);
  const folded = fold(first, second);
  expect(folded.findings).toEqual([]);
  expect(Object.fromEntries(folded.statements.map(({ path, bytes }) => [path, bytes]))).toEqual({
    'one.mov': 9,
    'two.mov': 5,
  });
});

test('so do three in a ring, and the files of two folders that change places, recorded once or twice over', () => {
  const ring = fold(
    generation([file('a', GOOD, 'original'), file('b', BAD, 'original'), file('c', GOOD, 'original')]),
    generation([
      file('b', GOOD, 'verified', 'a'),
      file('c', BAD, 'verified', 'b'),
      file('a', GOOD, 'verified', 'c'),
    ]),
  );
  expect(ring.findings).toEqual([]);
  const before = generation([file('x/bell.mov', GOOD, 'original'), file('y/bell.mov', BAD, 'original')]);
  const swap: Generation['folders'] = [
    { path: 'y', previousPath: 'x' },
    { path: 'x', previousPath: 'y' },
  ];
  for (const previous of [
    [null, null],
    ['x/bell.mov', 'y/bell.mov'],
  ] as const) {
    const folded = fold(
      before,
      generation(
        [file('y/bell.mov', GOOD, 'verified', previous[0]), file('x/bell.mov', BAD, 'verified', previous[1])],
        swap,
      ),
    );
    expect(folded.findings).toEqual([]);
    expect(Object.fromEntries(folded.statements.map(({ path, bytes }) => [path, bytes]))).toEqual({
      'x/bell.mov': 9,
      'y/bell.mov': 5,
    });
  }
});

test('a history folder without anything in it is broken and states nothing', () => {
  const history = readHistory(new Map(), 'A001/ascmhl');
  expect(history.statements).toEqual([]);
  expect(history.findings.map(({ code, file: about }) => `${code} ${about}`)).toEqual([
    'manifest-chain-broken A001/ascmhl/ascmhl_chain.xml',
  ]);
});
