/** Rules of the house that a machine can hold. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { OLDEST_NODE } from '../../coordinator/doctor/judge.ts';
import { findingCodes, registry } from '../../findings/registry.ts';
import { packageFolder } from '../../files/installation.ts';
import { OLDEST_NODE as SETUP_NODE } from '../../setup/node-version.mjs';
import { rooms, sourcesOf } from './sources.ts';

const ours = rooms.flatMap((room) => sourcesOf(room));
// This file spells out what it looks for.
const tests = sourcesOf('test').filter(({ file }) => file !== 'test/house/hygiene.test.ts');

test('no complaint of the compiler is silenced', () => {
  // Without `any`, tests left alone or left out, and default exports: the linter's own rules (biome.json) see to those.
  expect(
    [...ours, ...tests]
      .filter(({ text }) => /@ts-(?:ignore|nocheck|expect-error)\b/.test(text))
      .map(({ file }) => file),
  ).toEqual([]);
});

test.each([
  'suspicious/noExplicitAny',
  'suspicious/noFocusedTests',
  'suspicious/noSkippedTests',
  'style/noDefaultExport',
])('the linter holds %s as an error, and no source turns it off', (rule) => {
  const [group, name] = rule.split('/') as [string, string];
  const { linter } = JSON.parse(readFileSync(join(packageFolder, 'biome.json'), 'utf8')) as {
    linter: { rules: Record<string, Record<string, string>> };
  };
  expect(linter.rules[group]?.[name]).toBe('error');
  expect(
    [...ours, ...tests].filter(({ text }) => text.includes(`lint/${rule}`)).map(({ file }) => file),
  ).toEqual([]);
});

test('programs are started in one place', () => {
  const starters = ours
    .filter(({ text }) => /from 'execa'|from 'node:child_process'/.test(text))
    .map(({ file }) => file);
  // Programs through process/run.ts; besides it only what starts processes of our own (workers, the reader of headers), and `ps` where there is no /proc.
  expect(
    starters.filter(
      (file) =>
        ![
          'process/run.ts',
          'process/helper.ts',
          'coordinator/night/workers.ts',
          'process/identity.ts',
        ].includes(file),
    ),
  ).toEqual([]);
});

test.each(findingCodes.map((code) => [code]))(
  '%s has a title, a remedy in whole sentences, and somebody who finds it',
  (code) => {
    const entry = registry[code];
    expect(entry.title).toMatch(/^\S.*[^.]$/);
    expect(entry.remedy).toMatch(/^[A-Z0-9`].*[.)]$/s);
    const users = ours.filter(
      ({ file, text }) => !file.startsWith('findings/codes/') && text.includes(`'${code}'`),
    );
    expect(users.map(({ file }) => file)).not.toEqual([]);
  },
);

test('a code is declared once', () => {
  const declared = sourcesOf('findings/codes').flatMap(({ text }) =>
    [...text.matchAll(/^ {2}'?([a-z][a-z0-9-]*)'?: \{/gm)].map((match) => match[1] as string),
  );
  expect(declared.sort()).toEqual([...findingCodes].sort());
});

test('the oldest Node is the same in the package, the set-up and doctor', () => {
  const { engines } = JSON.parse(readFileSync(join(packageFolder, 'package.json'), 'utf8')) as {
    engines: { node: string };
  };
  expect(engines.node).toBe(`>=${OLDEST_NODE.major}.${OLDEST_NODE.minor}.0`);
  expect(SETUP_NODE).toEqual([OLDEST_NODE.major, OLDEST_NODE.minor]);
});
