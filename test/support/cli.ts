/** Runs the compiled command line as its user would: another process, real exit code, stdout and stderr apart. */
import { spawn, type ChildProcess } from 'node:child_process';
import { join } from 'node:path';
import { packageFolder } from '../../files/installation.ts';

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
  const child = spawn(process.execPath, [join(packageFolder, 'dist', 'coordinator', 'cli.js'), ...args], {
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
