/** Runs the compiled command line as its user would: another process, real exit code, stdout and stderr apart. */
import { type ChildProcess, fork, spawn } from 'node:child_process';
import { once } from 'node:events';
import { join } from 'node:path';
import { afterAll } from 'vitest';
import { packageFolder, programFile } from '../../files/installation.ts';

export interface CliResult {
  readonly code: number | null;
  readonly signal: NodeJS.Signals | null;
  readonly stdout: string;
  readonly stderr: string;
}

export interface RunningCli {
  readonly child: ChildProcess;
  readonly done: Promise<CliResult>;
  /** What it has said on stderr until now. */
  said(): string;
}

export function startCli(args: readonly string[], env: Readonly<Record<string, string>> = {}): RunningCli {
  const child = spawn(process.execPath, [programFile('coordinator/cli.js'), ...args], {
    env: { ...process.env, ...env },
    stdio: ['ignore', 'pipe', 'pipe'],
  });
  let stdout = '';
  let stderr = '';
  child.stdout.setEncoding('utf8').on('data', (text: string) => {
    stdout += text;
  });
  child.stderr.setEncoding('utf8').on('data', (text: string) => {
    stderr += text;
  });
  const done = new Promise<CliResult>((resolve, reject) => {
    child.once('error', reject);
    child.once('close', (code, signal) => resolve({ code, signal, stdout, stderr }));
  });
  return { child, done, said: () => stderr };
}

export function runCli(
  args: readonly string[],
  env: Readonly<Record<string, string>> = {},
): Promise<CliResult> {
  return startCli(args, env).done;
}

/** Of all `runCli` does, what a command decides and says: not that a process of its own ends with that code. */
export type RunCommand = (
  args: readonly string[],
  env?: Readonly<Record<string, string>>,
) => Promise<Pick<CliResult, 'code' | 'stdout' | 'stderr'>>;

/**
 * Runs commands one after another in one process beside the tests of a file (commands.mjs), which starts with the first: starting
 * costs more than most commands. For commands that nobody interrupts, and during which no other one is run.
 */
export function commandProcess(): RunCommand {
  let child: ChildProcess | undefined;
  let last: Promise<unknown> = Promise.resolve();
  afterAll(async () => {
    if (child === undefined) return;
    const ended = once(child, 'exit');
    child.disconnect();
    await ended;
  });
  return (args, env = {}) => {
    const answer = last.then(async () => {
      child ??= fork(join(packageFolder, 'test', 'support', 'commands.mjs'), {
        execArgv: [],
        stdio: ['ignore', 'inherit', 'inherit', 'ipc'],
      });
      // What does not happen is no longer waited for, or the listeners of every command would stay on the process.
      const waiting = new AbortController();
      const { signal } = waiting;
      const answered = once(child, 'message', { signal });
      const died = once(child, 'exit', { signal }).then(([code]) => {
        throw new Error(`the process of commands ended with ${code} in ${args.join(' ')}`);
      });
      child.send({ args, env });
      try {
        const [result] = (await Promise.race([answered, died])) as [Awaited<ReturnType<RunCommand>>];
        return result;
      } finally {
        waiting.abort();
        await Promise.allSettled([answered, died]);
      }
    });
    last = answer.catch(() => undefined);
    return answer;
  };
}
