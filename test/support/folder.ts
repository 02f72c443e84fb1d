/** A fresh folder for one test, removed when the test ends and kept when it fails. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { onTestFinished } from 'vitest';

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
