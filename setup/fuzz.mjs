/**
 * `npm run fuzz -- --format <name> --cases <n> --seed <n>`: damages small whole files of every format at random and has every
 * reader of this program read them, each in a process of its own with bounds on memory and time. `--format` several times, or
 * none for all. `--case <n>`: that case alone, `--keep <file>`: with its bytes written there. `--state <file>`: where it is kept how far
 * this got (the usual place is below dist-fuzz/); `--fresh`: from the first case. Prints a table; exit code 1 when a reader was at fault.
 */
import { rmSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { pathToFileURL } from 'node:url';
import { parseArgs } from 'node:util';
import { requireNode } from './node-version.mjs';

const DEFAULT_CASES = 10_000;

/**
 * For other scripts: compiles what is needed, runs, and returns a row for each format.
 * @param {Partial<import('../test/fuzz/main.ts').FuzzRun> & Pick<import('../test/fuzz/main.ts').FuzzRun, 'cases' | 'seed'>} run
 * @returns {Promise<import('../test/fuzz/main.ts').FuzzRow[]>}
 */
export async function fuzzRun(run) {
  const { compile, rooms } = await import('./compile.mjs');
  const { projectFolder, say } = await import('./say.mjs');
  compile({
    settings: 'tsconfig.fuzz.json',
    target: 'dist-fuzz',
    folders: [...rooms, 'test/fuzz', 'test/faults', 'test/exr', 'test/support'],
    proof: 'test/fuzz/child.js',
  });
  const { runFuzz } = await import(
    pathToFileURL(join(projectFolder, 'dist-fuzz', 'test', 'fuzz', 'main.js')).href
  );
  return await runFuzz({ state: null, say, ...run });
}

async function main() {
  requireNode();
  const { prepare } = await import('./prepare.mjs');
  const { projectFolder, say, stop } = await import('./say.mjs');
  const { table } = await import('./table.mjs');
  const { values } = parseArgs({
    options: {
      format: { type: 'string', multiple: true },
      cases: { type: 'string', default: String(DEFAULT_CASES) },
      seed: { type: 'string', default: '1' },
      case: { type: 'string' },
      keep: { type: 'string' },
      state: { type: 'string' },
      fresh: { type: 'boolean', default: false },
    },
  });
  const whole = (text, name) => {
    const number = Number(text);
    if (!Number.isSafeInteger(number) || number < 0) stop(`--${name} takes a whole number, not ${text}`);
    return number;
  };
  const state = resolve(values.state ?? join(projectFolder, 'dist-fuzz', 'state.json'));
  if (values.fresh) rmSync(state, { force: true });
  await prepare({ systemPrograms: 'test' });
  const seed = whole(values.seed, 'seed');
  const rows = await fuzzRun({
    ...(values.format === undefined ? {} : { formats: values.format }),
    ...(values.case === undefined ? {} : { case: whole(values.case, 'case') }),
    ...(values.keep === undefined ? {} : { keep: resolve(values.keep) }),
    cases: whole(values.cases, 'cases'),
    seed,
    state,
    say,
  });
  process.stdout.write(
    `seed ${seed}\n\n${table(
      ['format', 'cases', 'values', 'FAULTS', 'seconds'],
      rows.map(({ format, cases, values: read, faults, seconds }) => [
        format,
        cases,
        read,
        faults.length,
        seconds.toFixed(0),
      ]),
    )}\n`,
  );
  process.exit(rows.every(({ faults }) => faults.length === 0) ? 0 : 1);
}

if (process.argv[1] === import.meta.filename) {
  try {
    await main();
  } catch (error) {
    process.stderr.write(`${error.message}\n`);
    process.exit(2);
  }
}
