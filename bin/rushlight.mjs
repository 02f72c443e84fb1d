#!/usr/bin/env node
/** The command `rushlight`, as `npx rushlight …` in the project's folder runs it. It installs nothing: `npm start` does. */
import { existsSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { handOver } from '../setup/hand-over.mjs';
import { requireNode } from '../setup/node-version.mjs';

requireNode();
const program = fileURLToPath(new URL('../dist/coordinator/cli.js', import.meta.url));
const packages = fileURLToPath(new URL('../node_modules', import.meta.url));
const missing = [packages, program].find((path) => !existsSync(path));
if (missing !== undefined) {
  process.stderr.write(
    [
      'rushlight is not set up here',
      `  found     no ${missing}`,
      '  expected  installed packages and a compiled program',
      '  remedy    Run `npm start -- doctor` in the project’s folder: it does the set-up and shows what it found.',
      '',
    ].join('\n'),
  );
  process.exit(3);
}
await handOver(process.argv.slice(2), program);
