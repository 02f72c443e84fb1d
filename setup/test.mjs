/**
 * `npm test`: what set-up the tests need, then types, format, lint and every test. All run whatever the others said;
 * the last line counts them: each test, and types, format and lint as one each.
 * `npm test -- <args>` hands the arguments to the test runner. The quick lane; test-all.mjs runs what it leaves out.
 */
import { spawnSync } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { requireNode } from './node-version.mjs';

requireNode();
const { prepare } = await import('./prepare.mjs');
const { projectFolder } = await import('./say.mjs');
const { countTests, addCounts, closingLine } = await import('./count.mjs');

await prepare({ systemPrograms: 'test' });

function run(title, script, args) {
  process.stdout.write(`\n${title}\n`);
  return spawnSync(process.execPath, [join(projectFolder, 'node_modules', script), ...args], {
    cwd: projectFolder,
    stdio: ['ignore', 'inherit', 'inherit'],
  }).status;
}
function step(title, script, args) {
  const good = run(title, script, args) === 0;
  process.stdout.write(`${title}: ${good ? 'good' : 'FAILED'}\n`);
  return good ? { passed: 1, failed: 0, skipped: 0 } : { passed: 0, failed: 1, skipped: 0 };
}

const scratch = mkdtempSync(join(tmpdir(), 'rushlight-tests-'));
let counts;
try {
  const results = join(scratch, 'results.json');
  const types = step('types', 'typescript/bin/tsc', [
    '--noEmit',
    '--incremental',
    '--tsBuildInfoFile',
    'dist/.types.tsbuildinfo',
  ]);
  const form = step('format', '@biomejs/biome/bin/biome', ['format', '.']);
  const lint = step('lint', '@biomejs/biome/bin/biome', ['lint', '.']);
  const status = run('tests', 'vitest/vitest.mjs', [
    'run',
    '--reporter=default',
    '--reporter=json',
    `--outputFile.json=${results}`,
    ...process.argv.slice(2),
  ]);
  const tests = countTests(existsSync(results) ? JSON.parse(readFileSync(results, 'utf8')) : null, status);
  counts = addCounts([types, form, lint, tests]);
} finally {
  rmSync(scratch, { recursive: true, force: true });
}
process.stdout.write(`\n${closingLine(counts)}\n`);
process.exitCode = counts.failed === 0 ? 0 : 1;
