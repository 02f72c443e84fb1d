/** Pages that are made from the code say what the code says. */
import { readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { codesByArea, findingCodes } from '../../findings/registry.ts';
import { packageFolder } from '../../files/installation.ts';
import { fields, masterFields } from '../../profiles/fields.ts';
import { builtInProfiles, lintProfileFile } from '../../profiles/load.ts';
import { curveNames, logc3Indices } from '../../media/colour/curves.ts';
import { gamutNames } from '../../media/colour/gamuts.ts';
import { inputNames } from '../../media/colour/input.ts';
import { displaySpaces, linearSpaces, logSpaces } from '../../media/colour/way.ts';
import { readSettings } from '../../coordinator/settings/read.ts';
import { recordForms } from '../../coordinator/records/forms.ts';
import { partsOf, recordFields, recordsPage, schemaFiles } from '../../setup/records-page.mjs';
import { findingsPage } from '../../setup/findings-page.mjs';
import { exampleFile, exampleName, profilesPage } from '../../setup/profiles-page.mjs';
import { exampleSettings, settingsPage } from '../../setup/settings-page.mjs';
import { freshFolder } from '../support/folder.ts';

const page = readFileSync(join(packageFolder, 'docs', 'findings.md'), 'utf8');

test('docs/findings.md is what `npm run docs` writes', () => {
  expect(page).toBe(findingsPage(codesByArea));
});

test('docs/findings.md has one row for every code of the registry, and no other', () => {
  const rows = [...page.matchAll(/^\| `([a-z0-9-]+)` \| (?:hold|note) \|/gm)].map((match) => match[1]);
  expect(rows.toSorted()).toEqual([...findingCodes].sort());
});

test('every command that the README shows as a set-up command is a script of the package', () => {
  const { scripts } = JSON.parse(readFileSync(join(packageFolder, 'package.json'), 'utf8')) as {
    scripts: Record<string, string>;
  };
  const readme = readFileSync(join(packageFolder, 'README.md'), 'utf8');
  const named = [...readme.matchAll(/\bnpm (?:run )?(start|test|bench|docs|build)\b/g)].map(
    (match) => match[1] as string,
  );
  expect(named).toContain('start');
  expect(named.filter((name) => scripts[name] === undefined)).toEqual([]);
});

const profilesText = readFileSync(join(packageFolder, 'docs', 'profiles.md'), 'utf8');

test('docs/profiles.md is what `npm run docs` writes', async () => {
  const builtIns = (await builtInProfiles()).map(({ profile: { name, summary } }) => ({
    name,
    summary,
    text: readFileSync(join(packageFolder, 'profiles', 'builtin', `${name}.yaml`), 'utf8'),
  }));
  expect(profilesText).toBe(profilesPage(fields, masterFields, builtIns));
});

test('docs/profiles.md has every field of the built-in profiles, each with a meaning', async () => {
  const rows = new Map(
    [...profilesText.matchAll(/^\| `([a-z_.[\]]+)`(?: \(with [a-z0-9]+\))? \| (.+?) \| (.+) \|$/gm)].map(
      (match) => [match[1] as string, match[3] as string],
    ),
  );
  const used = new Set<string>();
  const visit = (value: unknown, path: string): void => {
    if (path !== '') used.add(path);
    if (Array.isArray(value)) for (const item of value) typeof item === 'object' && visit(item, `${path}[]`);
    else if (typeof value === 'object' && value !== null)
      for (const [name, child] of Object.entries(value)) visit(child, path === '' ? name : `${path}.${name}`);
  };
  for (const { profile } of await builtInProfiles()) visit(profile, '');
  used.delete('burn_in[]');
  expect([...used].filter((path) => (rows.get(path) ?? '').length < 5)).toEqual([]);
});

test('the example of docs/profiles.md is a right profile', async () => {
  const file = join(freshFolder('example'), `${exampleName}.yaml`);
  writeFileSync(file, exampleFile);
  const { loaded, findings } = await lintProfileFile(file);
  expect(findings).toEqual([]);
  expect(loaded?.profile).toMatchObject({
    container: 'mov',
    raster: { policy: 'pad', width: 1280, height: 720 },
    video: { codec: 'rdd36', quality: 'proxy' },
  });
});

test('docs/settings.md is what `npm run docs` writes, and the file that it shows reads well', async () => {
  expect(readFileSync(join(packageFolder, 'docs', 'settings.md'), 'utf8')).toBe(
    settingsPage({
      inputs: inputNames,
      curves: curveNames,
      gamuts: gamutNames,
      indices: logc3Indices,
      logs: logSpaces,
      linears: linearSpaces,
      displays: displaySpaces,
    }),
  );
  const path = join(freshFolder('settings'), 'show.yaml');
  writeFileSync(path, exampleSettings);
  expect((await readSettings(path)).file).toMatchObject({
    version: 1,
    cameras: [{ name: 'A' }, { name: 'B', input: { name: 'slog3-sgamut3cine' } }, { name: 'drone' }],
    rolls: { B003: { input: { name: 'logc3-awg3', ei: 800 } } },
  });
});

test('docs/records.md and docs/schemas/ are what `npm run docs` writes', () => {
  const forms = recordForms();
  const docs = join(packageFolder, 'docs');
  expect(readFileSync(join(docs, 'records.md'), 'utf8')).toBe(recordsPage(forms));
  const written = schemaFiles(forms);
  expect(readdirSync(join(docs, 'schemas')).sort()).toEqual([...written.keys()].sort());
  for (const [name, text] of written) expect(readFileSync(join(docs, 'schemas', name), 'utf8')).toBe(text);
});

test('a field that objects of several forms have is shown with what each of them holds', () => {
  const schema = {
    anyOf: [
      { type: 'object', properties: { grade: { enum: ['low', 'high'], description: 'Named' } } },
      { type: 'object', properties: { grade: { type: 'integer', description: 'Counted' } } },
      { type: 'object', properties: { grade: { type: 'integer', description: 'Counted' } } },
    ],
  };
  expect(recordFields(schema)).toEqual([
    { path: 'grade', type: '`low`, `high` or whole number', optional: true, meaning: 'Named; Counted' },
  ]);
});

test('every field of the records of a delivery has its meaning on the page', () => {
  const forms = recordForms();
  const ofLedger = [
    ...['roll', 'clip-report', 'deliverable-report', 'stills-report', 'statement-predicate'],
    ...['handover-predicate', 'pages-predicate', 'job-progress'],
  ];
  const parts = new Map(partsOf(forms));
  const schemas = [
    ...forms.filter(({ name }) => ofLedger.includes(name)).map(({ schema }) => schema),
    ...['finding', 'clip', 'toolchain', 'check-result', 'manifest-read'].map((name) => parts.get(name)),
  ];
  const silent = schemas.flatMap((schema) =>
    (recordFields(schema) as { path: string; meaning: string }[])
      // Ratios say what they are above their two numbers.
      .filter(({ path, meaning }) => meaning === '' && !/\.(?:num|den)$/.test(path))
      .map(({ path }) => path),
  );
  expect(silent).toEqual([]);
});

test('every finding that a page names in brackets is in the registry', () => {
  const folders = ['', 'docs', 'docs/mechanisms'];
  const pages = folders.flatMap((folder) =>
    readdirSync(join(packageFolder, folder))
      .filter((name) => name.endsWith('.md'))
      .map((name) => join(folder, name)),
  );
  const named = pages.flatMap((path) =>
    [...readFileSync(join(packageFolder, path), 'utf8').matchAll(/`\[([a-z0-9]+(?:-[a-z0-9]+)+)\]`/g)].map(
      (match) => ({ path, code: match[1] as string }),
    ),
  );
  expect(named.filter(({ path }) => path === 'docs/failures.md').length).toBeGreaterThan(40);
  const known = new Set<string>(findingCodes);
  expect(named.filter(({ code }) => !known.has(code))).toEqual([]);
});
