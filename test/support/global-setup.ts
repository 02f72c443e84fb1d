/** Before all tests: the compiled program (worker processes run it), and one folder for everything that tests make. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { delimiter, join } from 'node:path';
import { bundle } from '../../setup/bundle.mjs';
import { compile } from '../../setup/compile.mjs';
import { compileKernels } from '../../setup/kernels.mjs';
import { recordAnswers } from './recorded-answers.ts';

export default async function setup(): Promise<() => void> {
  // All look first: after `npm test` has prepared, and from the second run on, nothing is left to compile.
  compile();
  await bundle();
  compileKernels();
  const folder = mkdtempSync(join(tmpdir(), 'rushlight-test-'));
  process.env.RUSHLIGHT_TEST_FOLDER = folder;
  // The id of a machine that exists for this run only: tests write nothing into their user's state.
  process.env.XDG_STATE_HOME = join(folder, 'state');
  const programs = join(folder, 'programs');
  recordAnswers(programs);
  const path = process.env.PATH ?? '';
  process.env.PATH = [programs, path].join(delimiter);
  return () => {
    process.env.PATH = path;
    rmSync(folder, { recursive: true, force: true });
  };
}
