/** The set-up, in order. Each step looks first and costs next to nothing when there is nothing to do. */
import { bundle } from './bundle.mjs';
import { compile } from './compile.mjs';
import { compileKernels } from './kernels.mjs';
import { installPackages } from './packages.mjs';
import { provideSystemPrograms } from './system.mjs';

/**
 * `systemPrograms`: `run` what a night needs, `test` also what the tests measure with, `none`.
 * Ends the process with exit code 3 when something cannot be provided; it has then said what and how.
 */
export async function prepare({ systemPrograms }) {
  installPackages();
  if (systemPrograms !== 'none') provideSystemPrograms(systemPrograms);
  compile();
  await bundle();
  compileKernels();
}
