/**
 * Runs the command line as a child and is nothing but its skin: same streams, same exit code, every signal passed on
 * once, and no end before the child's own. What one or two interrupts mean is the child's to decide.
 *
 * Ctrl-C reaches everyone in the terminal's foreground group, and npm passes it on once more; where /bin/sh gives its
 * process to the script, this program hears it twice. So the child gets a group of its own, and interrupts that come
 * within SAME_PRESS_MILLISECONDS of each other are one.
 */
import { spawn } from 'node:child_process';
import { existsSync } from 'node:fs';
import { constants } from 'node:os';
import { join } from 'node:path';
import { projectFolder } from './say.mjs';

const SAME_PRESS_MILLISECONDS = 150;
const PASSED_ON = ['SIGINT', 'SIGTERM', 'SIGHUP', 'SIGQUIT', 'SIGUSR2', 'SIGWINCH'];

/** Runs `program` (a .js file) with `args` and ends this process as it ended. */
export function handOver(args, program = join(projectFolder, 'dist', 'program', 'coordinator', 'cli.js')) {
  // In a group of its own the child would outlive a SIGKILL of this one: the kernel tells it then, as SIGTERM.
  const setpriv = ['/usr/bin/setpriv', '/bin/setpriv'].find(
    (path) => process.platform === 'linux' && existsSync(path),
  );
  const line = [process.execPath, program, ...args];
  const [file, ...rest] = setpriv === undefined ? line : [setpriv, '--pdeathsig', 'TERM', '--', ...line];
  const child = spawn(file, rest, { stdio: 'inherit', detached: true });

  const lastHeard = new Map();
  for (const signal of PASSED_ON) {
    process.on(signal, () => {
      const now = performance.now();
      const before = lastHeard.get(signal);
      lastHeard.set(signal, now);
      if (before === undefined || now - before > SAME_PRESS_MILLISECONDS) child.kill(signal);
    });
  }

  return new Promise(() => {
    child.on('error', (error) => {
      process.stderr.write(`rushlight could not be started: ${error.message}\n`);
      process.exit(3);
    });
    child.on('exit', (code, signal) => {
      // 128 + number is how a shell reports a death by signal, and what npm passes on unchanged.
      process.exit(signal === null ? code : 128 + (constants.signals[signal] ?? 0));
    });
  });
}
