/**
 * `npm run test:all`: the long lane, in parts (long-lane.mjs). What passed is recorded in dist/tests-passed.json under a digest
 * of all sources, tests and the lock file: a step runs again only when one of them changed. The last line counts steps.
 * Exit code 1 when a step failed or could not be run.
 */
import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { delimiter, dirname, join } from 'node:path';
import { requireNode } from './node-version.mjs';

requireNode();
const { prepare } = await import('./prepare.mjs');
const { filesOf, rooms } = await import('./compile.mjs');
const { projectFolder, say } = await import('./say.mjs');
const { closingLine } = await import('./count.mjs');
const { helpText, partNames, parts, readOptions, stepsLeft, stepsOf } = await import('./long-lane.mjs');
const { otherNode } = await import('./other-node.mjs');

const record = join(projectFolder, 'dist', 'tests-passed.json');

/** Everything that can change what a test finds. */
function sourcesNow() {
  const hash = createHash('sha256');
  const files = [
    ...['package-lock.json', 'package.json', 'vitest.config.ts'].map((name) => join(projectFolder, name)),
    ...[...rooms, 'setup', 'test', 'docker'].flatMap((folder) => filesOf(join(projectFolder, folder))),
  ];
  for (const file of files) {
    const bytes = readFileSync(file);
    hash.update(`${file.slice(projectFolder.length)} ${bytes.length}\n`).update(bytes);
  }
  return hash.digest('hex');
}

function readPassed(sources) {
  if (!existsSync(record)) return [];
  try {
    const kept = JSON.parse(readFileSync(record, 'utf8'));
    return kept.sources === sources && Array.isArray(kept.passed) ? kept.passed : [];
  } catch {
    // Torn: nothing counts as passed.
    return [];
  }
}

function writePassed(sources, passed) {
  mkdirSync(dirname(record), { recursive: true });
  const part = `${record}.${process.pid}`;
  writeFileSync(part, `${JSON.stringify({ sources, passed }, null, 2)}\n`);
  renameSync(part, record);
}

/** Runs one step to its end: did it pass? */
function passes(step) {
  if (step.missing !== undefined) {
    say(`${step.missing} is not there: this part cannot be run, and counts as failed`);
    return false;
  }
  let node = process.execPath;
  if (step.node !== undefined) {
    const other = otherNode(step.node);
    if (other === null) return false;
    node = other;
  }
  const path = `${dirname(node)}${delimiter}${process.env.PATH ?? ''}`;
  const run = spawnSync(node, step.args, {
    cwd: projectFolder,
    stdio: ['ignore', 'inherit', 'inherit'],
    env: { ...process.env, PATH: path, ...step.env },
  });
  return run.status === 0;
}

const options = readOptions(process.argv.slice(2));
if (options.error !== undefined || options.help) {
  process.stdout.write(`${options.error === undefined ? '' : `${options.error}\n\n`}${helpText()}\n`);
  process.exit(options.error === undefined ? 0 : 2);
}

await prepare({ systemPrograms: 'test' });
const sources = sourcesNow();
let passed = options.again ? [] : readPassed(sources);
const has = (name) => existsSync(join(projectFolder, 'setup', name));
const here = {
  hasFuzz: has('fuzz.mjs'),
  // Of these sources alone: cases that passed before a change must be run again.
  fuzzState: join(dirname(record), `fuzz-${sources.slice(0, 16)}.json`),
  hasImage: has('image.mjs'),
};
if (options.again) rmSync(here.fuzzState, { force: true });
const counts = { passed: 0, failed: 0, skipped: 0 };
for (const part of options.parts) {
  const steps = stepsOf(part, here);
  const left = stepsLeft(steps, passed);
  process.stdout.write(
    `\n${part}: ${parts[part].about}; ${left.length} of ${steps.length} steps to run, about ${parts[part].minutes} minutes for all\n`,
  );
  counts.passed += steps.length - left.length;
  for (const step of left) {
    process.stdout.write(`\n${part}: ${step.title}\n`);
    const good = passes(step);
    process.stdout.write(`${part}: ${step.title}: ${good ? 'good' : 'FAILED'}\n`);
    if (good) {
      counts.passed += 1;
      passed = [...passed, step.title];
      writePassed(sources, passed);
    } else {
      counts.failed += 1;
    }
  }
}
// Of all parts, also of those that were not asked for: a release needs every one.
const left = partNames.flatMap((part) =>
  stepsLeft(stepsOf(part, here), passed).map(({ title }) => `${part}: ${title}`),
);
process.stdout.write(left.length === 0 ? '\nnothing is left\n' : `\nleft:\n  ${left.join('\n  ')}\n`);
process.stdout.write(`\n${closingLine(counts)}\n`);
process.exitCode = counts.failed === 0 ? 0 : 1;
