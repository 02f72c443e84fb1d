/** `npm run docs`: writes the pages of docs/ that are made from the code. A test holds page and code equal. */
import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { decodersPage } from './decoders-page.mjs';
import { findingsPage } from './findings-page.mjs';
import { requireNode } from './node-version.mjs';
import { prepare } from './prepare.mjs';
import { profilesPage } from './profiles-page.mjs';
import { recordsPage, schemaFiles } from './records-page.mjs';
import { projectFolder } from './say.mjs';
import { settingsPage } from './settings-page.mjs';

requireNode();
await prepare({ systemPrograms: 'none' });

mkdirSync(join(projectFolder, 'docs'), { recursive: true });
const compiled = (...path) => import(pathToFileURL(join(projectFolder, 'dist', ...path)).href);
const { codesByArea } = await compiled('findings', 'registry.js');
writeFileSync(join(projectFolder, 'docs', 'findings.md'), findingsPage(codesByArea));

const { fields, masterFields } = await compiled('profiles', 'fields.js');
const { builtInProfiles } = await compiled('profiles', 'load.js');
const builtIns = (await builtInProfiles()).map(({ profile: { name, summary } }) => ({
  name,
  summary,
  text: readFileSync(join(projectFolder, 'profiles', 'builtin', `${name}.yaml`), 'utf8'),
}));
writeFileSync(join(projectFolder, 'docs', 'profiles.md'), profilesPage(fields, masterFields, builtIns));

const { inputNames: inputs } = await compiled('media', 'colour', 'input.js');
const { curveNames: curves, logc3Indices: indices } = await compiled('media', 'colour', 'curves.js');
const { gamutNames: gamuts } = await compiled('media', 'colour', 'gamuts.js');
const {
  logSpaces: logs,
  linearSpaces: linears,
  displaySpaces: displays,
} = await compiled('media', 'colour', 'way.js');
writeFileSync(
  join(projectFolder, 'docs', 'settings.md'),
  settingsPage({ inputs, curves, gamuts, indices, logs, linears, displays }),
);

const { decoderFields } = await compiled('media', 'raw', 'decoders', 'declared', 'fields.js');
const exampleFolder = join(projectFolder, 'media', 'raw', 'decoders', 'examples');
const examples = readdirSync(exampleFolder)
  .sort()
  .map((name) => ({
    name: name.replace(/\.yaml$/, ''),
    text: readFileSync(join(exampleFolder, name), 'utf8'),
  }));
writeFileSync(join(projectFolder, 'docs', 'decoders.md'), decodersPage(decoderFields, examples));

const { recordForms } = await compiled('coordinator', 'records', 'forms.js');
const forms = recordForms();
writeFileSync(join(projectFolder, 'docs', 'records.md'), recordsPage(forms));
mkdirSync(join(projectFolder, 'docs', 'schemas'), { recursive: true });
for (const [name, text] of schemaFiles(forms))
  writeFileSync(join(projectFolder, 'docs', 'schemas', name), text);
