/**
 * Another Node for the tests: the npm package `node` of that major brings the program. It is put below dist/, so that the
 * project's own packages stay as the lock file has them.
 */
import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { projectFolder, say } from './say.mjs';

/** Path of its program, null when it cannot be had (and said why). */
export function otherNode(major) {
  const folder = join(projectFolder, 'dist', 'node', String(major));
  const program = join(folder, 'node_modules', 'node', 'bin', 'node');
  if (!existsSync(program)) {
    say(`fetching Node ${major} (npm package node@${major}) into dist/node/${major}`);
    mkdirSync(folder, { recursive: true });
    writeFileSync(join(folder, 'package.json'), '{ "private": true }\n');
    const run = spawnSync('npm', ['install', '--no-save', '--no-audit', '--no-fund', `node@${major}`], {
      cwd: folder,
      stdio: ['ignore', 2, 2],
    });
    if (run.status !== 0 || !existsSync(program)) {
      say(`Node ${major} cannot be had from npm: this step cannot be run, and counts as failed`);
      return null;
    }
  }
  const version = spawnSync(program, ['--version'], { encoding: 'utf8' }).stdout?.trim() ?? '';
  if (!version.startsWith(`v${major}.`)) {
    say(`${program} says that it is ${version || 'nothing'}, not Node ${major}`);
    return null;
  }
  return program;
}
