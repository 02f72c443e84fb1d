/**
 * Runs one program to its end. Success and failure have one shape with every fact as a field: an exit code proves
 * nothing about a file, so callers decide by what they measure, and by these fields, never by text.
 *
 * On Linux the child dies with this process, also when this process is killed with SIGKILL (setpriv --pdeathsig;
 * it follows the spawning thread, so spawn from the main thread only). Elsewhere a watcher shell does the same.
 */
import { existsSync } from 'node:fs';
import type { Readable } from 'node:stream';
import { execa } from 'execa';
import { programArgument } from '../names.ts';

export const endReasons = ['exited', 'signalled', 'stopped', 'stalled', 'not-started'] as const;
export type EndReason = (typeof endReasons)[number];

export interface RunResult {
  readonly command: string;
  readonly args: readonly string[];
  /** The first reason to end is kept. `stopped`: our abort signal; `stalled`: no sign of progress for too long. */
  readonly reason: EndReason;
  readonly exitCode: number | null;
  readonly signal: string | null;
  /** True when SIGTERM was not enough. */
  readonly forced: boolean;
  readonly milliseconds: number;
  /** The last 64 KiB of stderr. */
  readonly stderr: string;
  readonly startError: string | null;
}

export interface RunOptions {
  readonly signal?: AbortSignal;
  readonly cwd?: string;
  readonly env?: Readonly<Record<string, string>>;
  /** Reads stdout while the program runs; back-pressure holds. Without it stdout is discarded. */
  readonly onStdout?: (stream: Readable) => Promise<void>;
  /** Reads a third pipe (fd 3) while the program runs, for `-progress pipe:3`. */
  readonly onProgress?: (stream: Readable) => Promise<void>;
  /** Every whole line of stderr as it comes; `stderr` keeps the tail all the same. */
  readonly onStderrLine?: (line: string) => void;
  /** Asked to call back `touch` when there is a sign of progress; silence for this long ends the program as stalled. */
  readonly stallMilliseconds?: number;
  /** Receives the function to call at each sign of progress. */
  readonly onStart?: (touch: () => void, pid: number | undefined) => void;
  /** From SIGTERM to SIGKILL. */
  readonly graceMilliseconds?: number;
  readonly niceness?: number;
}

const STDERR_TAIL_BYTES = 64 * 1024;
const SETPRIV = ['/usr/bin/setpriv', '/bin/setpriv'].find((path) => process.platform === 'linux' && existsSync(path));

/** Kills the child when our end of fd 4 closes, which the kernel does however we die. */
const WATCHER = '"$@" 4<&- & c=$!; ( cat <&4 >/dev/null; kill -9 $c 2>/dev/null ) & w=$!; trap "kill -TERM $c" TERM; wait $c; r=$?; while kill -0 $c 2>/dev/null; do wait $c; r=$?; done; kill $w 2>/dev/null; exit $r';

/** Groups of programs that run now: an ordinary end of this process ends them too. */
const liveGroups = new Set<number>();
process.on('exit', () => {
  for (const pid of liveGroups) {
    try {
      process.kill(-pid, 'SIGKILL');
    } catch {
      // Gone already.
    }
  }
});

/** The command line that ties the program's life to ours. */
export function tied(command: string, args: readonly string[]): { file: string; args: string[]; watcher: boolean } {
  if (SETPRIV !== undefined) return { file: SETPRIV, args: ['--pdeathsig', 'KILL', '--', command, ...args], watcher: false };
  return { file: '/bin/sh', args: ['-c', WATCHER, 'sh', command, ...args], watcher: true };
}

export async function runTool(command: string, args: readonly string[], options: RunOptions = {}): Promise<RunResult> {
  const started = performance.now();
  const line = tied(command, args.map(programArgument));
  let reason: EndReason | undefined;
  let forced = false;
  const tail: Buffer[] = [];
  let tailBytes = 0;
  const child = execa(line.file, line.args, {
    buffer: false,
    reject: false,
    // A group of its own: Ctrl-C at the terminal must not reach an encoder, and a kill must reach its children.
    detached: true,
    cleanup: false,
    ...(options.cwd === undefined ? {} : { cwd: options.cwd }),
    ...(options.env === undefined ? {} : { env: { ...options.env } }),
    stdio: [
      'ignore',
      options.onStdout === undefined ? 'ignore' : 'pipe',
      'pipe',
      options.onProgress === undefined ? 'ignore' : 'pipe',
      ...(line.watcher ? (['pipe'] as const) : []),
    ],
  });
  const killGroup = (signal: NodeJS.Signals): void => {
    if (child.pid === undefined) return;
    try {
      process.kill(-child.pid, signal);
    } catch {
      // Gone already.
    }
  };
  let killTimer: NodeJS.Timeout | undefined;
  const end = (why: EndReason): void => {
    if (reason !== undefined) return;
    reason = why;
    killGroup('SIGTERM');
    killTimer = setTimeout(() => {
      forced = true;
      killGroup('SIGKILL');
    }, options.graceMilliseconds ?? 2_000);
  };
  const onAbort = (): void => end('stopped');
  if (child.pid !== undefined) liveGroups.add(child.pid);
  if (options.signal?.aborted === true) onAbort();
  options.signal?.addEventListener('abort', onAbort, { once: true });

  let stallTimer: NodeJS.Timeout | undefined;
  const touch = (): void => {
    if (options.stallMilliseconds === undefined) return;
    clearTimeout(stallTimer);
    stallTimer = setTimeout(() => end('stalled'), options.stallMilliseconds);
  };
  touch();
  options.onStart?.(touch, child.pid);
  if (options.niceness !== undefined && child.pid !== undefined) {
    const { setPriority } = await import('node:os');
    try {
      setPriority(child.pid, options.niceness);
    } catch {
      // The program may be gone, or the system may not allow it: the work is the same, only less polite.
    }
  }

  const readers: Promise<void>[] = [];
  const streams = child.stdio as unknown as (Readable | null)[];
  const stderr = streams[2];
  if (stderr) {
    let rest = '';
    readers.push(
      (async () => {
        for await (const chunk of stderr) {
          const bytes = chunk as Buffer;
          tail.push(bytes);
          tailBytes += bytes.length;
          while (tailBytes - (tail[0]?.length ?? 0) > STDERR_TAIL_BYTES) tailBytes -= tail.shift()?.length ?? 0;
          if (options.onStderrLine !== undefined) {
            const lines = (rest + bytes.toString('utf8')).split('\n');
            rest = lines.pop() ?? '';
            for (const text of lines) options.onStderrLine(text);
          }
        }
        if (rest !== '') options.onStderrLine?.(rest);
      })(),
    );
  }
  if (options.onStdout !== undefined && streams[1]) readers.push(options.onStdout(streams[1]));
  if (options.onProgress !== undefined && streams[3]) readers.push(options.onProgress(streams[3]));
  // A reader that fails would leave the program blocked on a full pipe.
  const reading = Promise.all(readers).catch((error: unknown) => {
    end('stopped');
    for (const stream of streams) stream?.resume?.();
    throw error;
  });
  try {
    const [result] = await Promise.all([child, reading]);
    const started_ = result.exitCode !== undefined || result.signal !== undefined;
    return {
      command,
      args,
      reason: reason ?? (started_ ? (result.signal === undefined ? 'exited' : 'signalled') : 'not-started'),
      exitCode: result.exitCode ?? null,
      signal: result.signal ?? null,
      forced,
      milliseconds: performance.now() - started,
      stderr: Buffer.concat(tail).toString('utf8'),
      startError: started_ ? null : (result.shortMessage ?? 'could not be started'),
    };
  } finally {
    clearTimeout(killTimer);
    clearTimeout(stallTimer);
    options.signal?.removeEventListener('abort', onAbort);
    if (child.pid !== undefined) liveGroups.delete(child.pid);
    // Whatever the program started and left behind in its group.
    killGroup('SIGKILL');
  }
}

/** Runs a program and returns its stdout as bytes, up to `limitBytes` (default 64 MiB; more throws). */
export async function runForOutput(command: string, args: readonly string[], options: Omit<RunOptions, 'onStdout'> & { limitBytes?: number } = {}): Promise<RunResult & { stdout: Buffer }> {
  const chunks: Buffer[] = [];
  let bytes = 0;
  const limit = options.limitBytes ?? 64 * 1024 * 1024;
  const result = await runTool(command, args, {
    ...options,
    onStdout: async (stream) => {
      for await (const chunk of stream) {
        bytes += (chunk as Buffer).length;
        if (bytes > limit) throw new RangeError(`${command} printed more than ${limit} bytes`);
        chunks.push(chunk as Buffer);
      }
    },
  });
  return { ...result, stdout: Buffer.concat(chunks) };
}
