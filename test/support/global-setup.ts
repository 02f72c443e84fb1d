/** Before all tests: compile once (worker processes run the compiled program), and one folder for everything that tests make. */
import { execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

export default function setup(): () => void {
  execFileSync('npx', ['tsc', '-p', 'tsconfig.build.json'], { stdio: 'inherit' });
  const folder = mkdtempSync(join(tmpdir(), 'rushlight-test-'));
  process.env.RUSHLIGHT_TEST_FOLDER = folder;
  return () => rmSync(folder, { recursive: true, force: true });
}
