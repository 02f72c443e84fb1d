/** Pages that are made from the code say what the code says. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { clipCodes } from '../../findings/codes/clip.ts';
import { deliverableCodes } from '../../findings/codes/deliverable.ts';
import { machineCodes } from '../../findings/codes/machine.ts';
import { nightCodes } from '../../findings/codes/night.ts';
import { profileCodes } from '../../findings/codes/profile.ts';
import { rollCodes } from '../../findings/codes/roll.ts';
import { findingCodes } from '../../findings/registry.ts';
import { packageFolder } from '../../media/installation.ts';
import { findingsPage } from '../../setup/findings-page.mjs';

const page = readFileSync(join(packageFolder, 'docs', 'findings.md'), 'utf8');

test('docs/findings.md is what `npm run docs` writes', () => {
  expect(page).toBe(findingsPage({ roll: rollCodes, clip: clipCodes, profile: profileCodes, deliverable: deliverableCodes, night: nightCodes, machine: machineCodes }));
});

test('docs/findings.md has one row for every code of the registry, and no other', () => {
  const rows = [...page.matchAll(/^\| `([a-z0-9-]+)` \| (?:hold|note) \|/gm)].map((match) => match[1]);
  expect(rows.toSorted()).toEqual([...findingCodes].sort());
});

test('every command that the README shows as a set-up command is a script of the package', () => {
  const { scripts } = JSON.parse(readFileSync(join(packageFolder, 'package.json'), 'utf8')) as { scripts: Record<string, string> };
  const readme = readFileSync(join(packageFolder, 'README.md'), 'utf8');
  const named = [...readme.matchAll(/\bnpm (?:run )?(start|test|bench|docs|build)\b/g)].map((match) => match[1] as string);
  expect(named).toContain('start');
  expect(named.filter((name) => scripts[name] === undefined)).toEqual([]);
});
