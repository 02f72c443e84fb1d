/** docs/decoders.md is what the code says. */
import { readFileSync, readdirSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { packageFolder } from '../../files/installation.ts';
import { decoderFields } from '../../media/raw/decoders/declared/fields.ts';
import { decodersPage } from '../../setup/decoders-page.mjs';

test('docs/decoders.md is what `npm run docs` writes', () => {
  const folder = join(packageFolder, 'media', 'raw', 'decoders', 'examples');
  const examples = readdirSync(folder)
    .sort()
    .map((name) => ({ name: name.replace(/\.yaml$/, ''), text: readFileSync(join(folder, name), 'utf8') }));
  expect(readFileSync(join(packageFolder, 'docs', 'decoders.md'), 'utf8')).toBe(
    decodersPage(decoderFields, examples),
  );
});

test('every field has a meaning and says what it may hold', () => {
  expect(decoderFields.map(({ path }) => path)).toEqual(
    expect.arrayContaining([
      'name',
      'takes.names',
      'command',
      'gives.samples',
      'gives.full',
      'probe.frames',
      'patience_seconds',
    ]),
  );
  expect(
    decoderFields
      .filter(({ meaning, allowed }) => meaning.length < 10 || allowed === '')
      .map(({ path }) => path),
  ).toEqual([]);
});
