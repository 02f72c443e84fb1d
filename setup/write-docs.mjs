/** `npm run docs`: writes the pages of docs/ that are made from the code. A test holds page and code equal. */
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { findingsPage } from './findings-page.mjs';
import { requireNode } from './node-version.mjs';
import { prepare } from './prepare.mjs';
import { projectFolder } from './say.mjs';

requireNode();
await prepare({ systemPrograms: 'none' });

const codes = {};
for (const area of ['roll', 'clip', 'profile', 'deliverable', 'night', 'machine']) {
  const module = await import(pathToFileURL(join(projectFolder, 'dist', 'findings', 'codes', `${area}.js`)).href);
  codes[area] = module[`${area}Codes`];
}
mkdirSync(join(projectFolder, 'docs'), { recursive: true });
writeFileSync(join(projectFolder, 'docs', 'findings.md'), findingsPage(codes));
