/** A fresh folder for one test, removed when the test ends and kept when it fails. */
import { existsSync, mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { onTestFinished } from 'vitest';
import { eventually } from './processes.ts';

/** The folder that all tests of this run share (made media, caches); removed by the global set-up. */
export const sharedFolder =
  process.env.RUSHLIGHT_TEST_FOLDER ?? mkdtempSync(join(tmpdir(), 'rushlight-test-'));

export function freshFolder(name = 'case'): string {
  const folder = mkdtempSync(join(sharedFolder, `${name}-`));
  onTestFinished((context) => {
    if (context.task.result?.state !== 'fail') rmSync(folder, { recursive: true, force: true });
  });
  return folder;
}

/**
 * Fills `folder`, below the shared one, once for all test files of this run: the first who comes makes it, others wait until it
 * is done. Nobody may change what lies there afterwards.
 */
export async function madeOnce(folder: string, make: () => Promise<void>): Promise<void> {
  const [done, failed] = [`${folder}.done`, `${folder}.failed`];
  mkdirSync(sharedFolder, { recursive: true });
  let ours = true;
  try {
    mkdirSync(`${folder}.begun`);
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code !== 'EEXIST') throw error;
    ours = false;
  }
  if (!ours) {
    await eventually(() => existsSync(done) || existsSync(failed), 240_000);
    if (existsSync(failed)) throw new Error(`${folder} could not be made: the file that tried says why`);
    return;
  }
  try {
    await make();
    writeFileSync(done, '');
  } catch (error) {
    writeFileSync(failed, '');
    throw error;
  }
}
