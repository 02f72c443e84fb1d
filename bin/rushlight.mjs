#!/usr/bin/env node
/**
 * The command `rushlight`: installed by npm, or run by `npx` or by its path in a checkout. It installs nothing: in a
 * checkout `npm start` does, and an installed package comes compiled.
 */
import { existsSync } from 'node:fs';
import { createRequire } from 'node:module';
import { basename, dirname } from 'node:path';
import { fileURLToPath } from 'node:url';
import { handOver } from '../setup/hand-over.mjs';
import { requireNode } from '../setup/node-version.mjs';

requireNode();

/** What this person typed; remedies name their commands with it. */
function startedAs() {
  const typed = process.argv[1] ?? '';
  if (basename(typed) === 'rushlight' && basename(dirname(typed)) !== '.bin') return 'rushlight';
  if (process.env.npm_command === 'exec') return 'npx rushlight';
  return `node ${typed}`;
}

const program = fileURLToPath(new URL('../dist/program/coordinator/cli.js', import.meta.url));
function missing() {
  if (!existsSync(program)) return `no ${program}`;
  try {
    createRequire(import.meta.url).resolve('zod');
    return null;
  } catch {
    return 'no installed packages';
  }
}

const found = missing();
if (found !== null) {
  const folder = fileURLToPath(new URL('..', import.meta.url));
  process.stderr.write(
    [
      'rushlight is not set up here',
      `  found     ${found}`,
      '  expected  installed packages and a compiled program',
      `  remedy    Run \`npm start -- doctor\` in ${folder}: it does the set-up and shows what it found.`,
      '',
    ].join('\n'),
  );
  process.exit(3);
}
process.env.RUSHLIGHT_STARTED_AS = startedAs();
await handOver(process.argv.slice(2), program);
