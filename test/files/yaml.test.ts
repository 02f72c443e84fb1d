/** Pages of fields that people write: what would exhaust the stack or the memory of a reader is refused with its file. */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { readDocument } from '../../files/document.ts';
import { freshFolder } from '../support/folder.ts';

const codes = {
  missing: 'profile-missing',
  unreadable: 'profile-unreadable',
  form: 'a profile file',
} as const;

const tenfold = Array.from(
  { length: 10 },
  (_, index) =>
    `z${index}: &z${index} [${Array.from({ length: 10 }, () => (index === 0 ? 'a' : `*z${index - 1}`)).join(', ')}]`,
).join('\n');

test.each([
  ['lists in lists, 20,000 deep', `a: ${'['.repeat(20_000)}`],
  ['lists in lists, 20,000 deep and closed', `a: ${'['.repeat(20_000)}${']'.repeat(20_000)}`],
  ['lists in lists by hyphens, 20,000 deep', `a:\n  ${'- '.repeat(20_000)}x`],
  ['groups in groups, 9,000 deep', `a: ${'{a: '.repeat(9000)}`],
  ['keys in keys, 20,000 deep', '? '.repeat(20_000)],
  ['lists in lists, 40 deep, which the parser takes', `a: ${'['.repeat(40)}${']'.repeat(40)}`],
  ['ten thousand million words by ten aliases of ten', tenfold],
  ['a list that holds itself', 'a: &a [*a]'],
])('%s: refused', async (_name, text) => {
  const path = join(freshFolder(), 'page.yaml');
  writeFileSync(path, text);
  const read = await readDocument(path, codes);
  expect('findings' in read ? read.findings.map(({ code, file }) => ({ code, file })) : read).toContainEqual({
    code: 'profile-unreadable',
    file: path,
  });
});

test('an alias or two are plain fields', async () => {
  const path = join(freshFolder(), 'page.yaml');
  writeFileSync(path, 'a: &a { b: [1, { c: 2 }] }\nd: *a\n');
  const read = await readDocument(path, codes);
  expect('document' in read ? read.document.values : read).toEqual({
    a: { b: [1, { c: 2 }] },
    d: { b: [1, { c: 2 }] },
  });
});
