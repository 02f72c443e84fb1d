/**
 * `npm run bench`: every bench of test/bench, one after the other on an otherwise idle machine, as a table of what was
 * measured against what is aimed at. `npm run bench -- --json` prints the same as JSON; `-- <word>` runs the benches
 * whose name holds the word. Exit code 1 when a target was missed or a bench failed.
 */
import { readdirSync } from 'node:fs';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { requireNode } from './node-version.mjs';

requireNode();
const { prepare } = await import('./prepare.mjs');
const { compile, rooms } = await import('./compile.mjs');
const { projectFolder, say } = await import('./say.mjs');
const { table } = await import('./table.mjs');

const asJson = process.argv.includes('--json');
const words = process.argv.slice(2).filter((word) => !word.startsWith('--'));

await prepare({ systemPrograms: 'test' });
compile({
  settings: 'tsconfig.bench.json',
  target: 'dist-bench',
  folders: [...rooms, 'test/bench', 'test/support'],
  proof: 'test/bench/line.js',
});

const folder = join(projectFolder, 'dist-bench', 'test', 'bench');
const benches = [];
for (const file of readdirSync(folder)
  .filter((name) => name.endsWith('.js'))
  .sort()) {
  const module = await import(pathToFileURL(join(folder, file)).href);
  for (const [name, run] of Object.entries(module)) {
    if (
      /^bench[A-Z]/.test(name) &&
      typeof run === 'function' &&
      (words.length === 0 || words.some((word) => name.toLowerCase().includes(word.toLowerCase())))
    )
      benches.push({ name, run });
  }
}

const lines = [];
for (const { name, run } of benches) {
  say(`running ${name}`);
  try {
    lines.push(...[await run()].flat());
  } catch (error) {
    lines.push({ name, measured: `failed: ${error.message}`, target: 'an answer', passed: false });
  }
}
if (lines.length === 0)
  lines.push({
    name: words.join(' ') || 'benches',
    measured: 'none ran',
    target: 'at least one',
    passed: false,
  });

const verdict = (line) => (line.passed === null ? 'reported' : line.passed ? 'met' : 'MISSED');
if (asJson)
  process.stdout.write(
    `${JSON.stringify(
      lines.map((line) => ({ ...line, verdict: verdict(line) })),
      null,
      2,
    )}\n`,
  );
else
  process.stdout.write(
    `${table(
      ['name', 'measured', 'target', 'verdict'],
      lines.map((line) => [line.name, line.measured, line.target, verdict(line)]),
    )}\n`,
  );
// Benches may leave a worker or a store winding down; the answer stands.
process.exit(lines.some((line) => line.passed === false) ? 1 : 0);
