/** Histories of several generations. The rules are those of the ASC MHL specification v1.0: actions and previousPath. */
import { expect, test } from 'vitest';
import type { FileRecord, Generation, MhlAction } from '../../media/manifest/generation.ts';
import { foldGenerations } from '../../media/manifest/history.ts';

const [GOOD, BAD] = ['a'.repeat(16), 'b'.repeat(16)];

function file(path: string, value: string, action: MhlAction, previousPath: string | null = null): FileRecord {
  return { path, bytes: value === BAD ? 9 : 5, hashes: [{ algorithm: 'xxh64', value, action }], previousPath };
}

function generation(files: FileRecord[], folders: Generation['folders'] = []): Generation {
  return { files, folders, references: [], ignore: [], findings: [] };
}

test('what failed to verify states nothing; the recorded value and size stand', () => {
  const folded = foldGenerations([generation([file('bell.mov', GOOD, 'original')]), generation([file('bell.mov', BAD, 'failed')])], 'm');
  expect(folded).toEqual({ statements: [{ path: 'bell.mov', bytes: 5, hashes: [{ algorithm: 'xxh64', value: GOOD }] }], findings: [] });
});

test('two generations that both claim to be right and differ are a contradiction', () => {
  const folded = foldGenerations([generation([file('bell.mov', GOOD, 'original')]), generation([file('bell.mov', BAD, 'verified')])], 'm');
  expect(folded.findings.map(({ code }) => code)).toEqual(['manifest-contradiction', 'manifest-contradiction']);
});

test('renames of a file and of a folder carry what was stated to the new path, and leave the old one unlisted', () => {
  const first = generation([file('a/bell.mov', GOOD, 'original'), file('ab.mov', GOOD, 'original')]);
  const second = generation([file('cd.mov', GOOD, 'verified', 'ab.mov')], [{ path: 'b', previousPath: 'a' }]);
  expect(foldGenerations([first, second], 'm').statements.map(({ path }) => path).sort()).toEqual(['b/bell.mov', 'cd.mov']);
});
