/** Machines of a farm on this one: each a process tree with mounts and a host name of its own (unshare(1)), and a state folder of its own, which holds its id. Needs root. */
import { type ChildProcess, spawn } from 'node:child_process';
import { existsSync, mkdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { onTestFinished } from 'vitest';
import { programFile } from '../../files/installation.ts';
import { isRunning } from './processes.ts';

export interface MachinePlan {
  /** Of its folders; its host name, too, unless it has another. */
  readonly name: string;
  readonly host?: string;
  readonly queue: string;
  /** Below which its own folders are made. */
  readonly folder: string;
  /** Shell commands that change its mounts before it starts. */
  readonly mounts?: string;
  /** Name of a network namespace that it is in. */
  readonly network?: string;
  readonly words?: readonly string[];
  readonly env?: Readonly<Record<string, string>>;
  /** It counts its processes by itself, and all of them end with the first: a machine whose plug is pulled. */
  readonly ownProcesses?: boolean;
}

export interface Machine {
  readonly child: ChildProcess;
  said(): string;
  /** Its workers' log, JSON lines. */
  readonly log: string;
}

/** `rushlight worker` with one worker and one slot there. It is asked to end when the test is over. */
export function startMachine({
  name,
  queue,
  folder,
  mounts = '',
  network,
  words = [],
  env = {},
  host = name,
  ownProcesses = false,
}: MachinePlan): Machine {
  const work = join(folder, name, 'work');
  const state = join(folder, name, 'state');
  mkdirSync(work, { recursive: true });
  mkdirSync(state, { recursive: true });
  const script = `hostname ${host}; ${mounts === '' ? ':' : mounts}; exec "$@"`;
  const [program, ...enter] = [...(network === undefined ? [] : ['ip', 'netns', 'exec', network]), 'unshare'];
  const child = spawn(
    program as string,
    [
      ...enter,
      ...(ownProcesses ? ['-p', '--fork', '--kill-child', '--mount-proc'] : []),
      ...['-m', '-u', '--propagation', 'private', 'bash', '-ec', script, 'bash'],
      ...[process.execPath, programFile('coordinator/cli.js'), 'worker', '--queue', queue],
      ...['--workers', '1', '--slots', '1', '--work', work, ...words],
    ],
    { env: { ...process.env, XDG_STATE_HOME: state, ...env }, stdio: ['ignore', 'ignore', 'pipe'] },
  );
  let said = '';
  child.stderr.setEncoding('utf8').on('data', (text: string) => {
    said += text;
  });
  const ended = new Promise<void>((resolve) => child.once('close', () => resolve()));
  onTestFinished(async () => {
    if (child.pid === undefined || !isRunning(child.pid)) return;
    // unshare(1) keeps interrupts from processes that it counts by themselves.
    if (ownProcesses) child.kill('SIGKILL');
    else {
      child.kill('SIGINT');
      child.kill('SIGINT');
    }
    await ended;
  });
  return { child, said: () => said, log: join(work, 'local-1.log') };
}

export type LogLine = Readonly<Record<string, unknown>> & { readonly time: number };

/** What a worker has logged under this message; a line that is just being written is none yet. */
export function linesOf(log: string, message: string): LogLine[] {
  if (!existsSync(log)) return [];
  return readFileSync(log, 'utf8')
    .split('\n')
    .slice(0, -1)
    .map((line) => JSON.parse(line) as LogLine)
    .filter(({ msg }) => msg === message);
}
