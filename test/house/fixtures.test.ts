/** Where the fixtures come from: every file has a row in test/fixtures/SOURCES.md, every row a file, every licence its place in LICENSES.md. */
import { readdirSync, readFileSync } from 'node:fs';
import { join, relative, sep } from 'node:path';
import { expect, test } from 'vitest';
import { packageFolder } from '../../files/installation.ts';

const folder = join(packageFolder, 'test', 'fixtures');
const about = ['SOURCES.md', 'LICENSES.md'];
const files = readdirSync(folder, { recursive: true, withFileTypes: true })
  .filter((entry) => entry.isFile())
  .map((entry) => relative(folder, join(entry.parentPath, entry.name)).split(sep).join('/'))
  .filter((file) => !about.includes(file))
  .sort();

interface Row {
  /** File paths, or folders that end in `/`. */
  readonly names: readonly string[];
  readonly origin: string;
  readonly licence: string;
  readonly truth: string;
}

const rows: Row[] = readFileSync(join(folder, 'SOURCES.md'), 'utf8')
  .split('\n')
  .filter((line) => line.startsWith('| ') && !line.startsWith('| file '))
  .map((line) => line.slice(2, -2).split(' | '))
  .map(([names = '', origin = '', licence = '', truth = '']) => ({
    names: names.split(', '),
    origin,
    licence,
    truth,
  }));

const covers = (name: string, file: string): boolean =>
  name.endsWith('/') ? file.startsWith(name) : file === name;

test('every fixture has exactly one row', () => {
  expect(files.length).toBeGreaterThan(20);
  expect(
    files.filter((file) => rows.filter(({ names }) => names.some((name) => covers(name, file))).length !== 1),
  ).toEqual([]);
});

test('every row is of a fixture that is there, and says origin, licence and what is true of it', () => {
  expect(
    rows.flatMap(({ names }) => names).filter((name) => !files.some((file) => covers(name, file))),
  ).toEqual([]);
  expect(
    rows.filter(({ origin, licence, truth }) => origin.length < 4 || licence.length < 3 || truth.length < 10),
  ).toEqual([]);
});

test('every licence named has its part in LICENSES.md', () => {
  const parts = [...readFileSync(join(folder, 'LICENSES.md'), 'utf8').matchAll(/^## (\S+)/gm)].map(
    (match) => match[1],
  );
  const named = new Set(rows.map(({ licence }) => licence.split(' ')[0]));
  expect([...named].filter((name) => !parts.includes(name))).toEqual([]);
});
