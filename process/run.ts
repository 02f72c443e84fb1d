/**
 * Runs one program to its end. Success and failure have one shape with every fact as a field: an exit code proves
 * nothing about a file, so callers decide by what they measure, and by these fields, never by text.
 *
 * The program and everything it starts die with this process, also when this process is killed with SIGKILL (see tie.ts).
 */
import { EventEmitter } from 'node:events';
import type { Socket } from 'node:net';
import type { Readable } from 'node:stream';
import { StringDecoder } from 'node:string_decoder';
import { execa } from 'execa';
import { programArgument } from '../files/names.ts';
import { NOT_FOUND, NOT_RUNNABLE, tied, whyNotRunnable } from './parent-death-guard.ts';

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
  /** True when not even SIGKILL ended it in time (a program hung in the kernel on a dead mount): it may still run. */
  readonly lingering: boolean;
  readonly milliseconds: number;
  /** The last 64 KiB of stderr. */
  readonly stderr: string;
  readonly startError: string | null;
}

/** A pipe that is read elsewhere (frame-pipe.ts). */
export interface HeldPipe {
  /** For the program, until `handed`. */
  readonly writeEnd: number;
  /** The program has its end, or there is none: ours goes, or the pipe would never end. */
  handed(): void;
  /** The program has ended: a reader that then waits in vain for what others may write is let go. */
  left(): void;
  /** Settles when the pipe was read to its end; what it throws ends the program. */
  read(): Promise<void>;
}

export type PipeReader = ((stream: Readable) => Promise<void>) | HeldPipe;

export interface RunOptions {
  readonly signal?: AbortSignal;
  readonly cwd?: string;
  /** Added to the environment of this process. */
  readonly env?: Readonly<Record<string, string>>;
  /** Reads stdout while the program runs; back-pressure holds. Without it stdout is discarded. */
  readonly onStdout?: (stream: Readable) => Promise<void>;
  /** Reads a third pipe (fd 3) while the program runs, for `-progress pipe:3`. */
  readonly onProgress?: (stream: Readable) => Promise<void>;
  /** Reads further pipes while the program runs: fd 5, 6, … (`FIRST_PIPE` and on). */
  readonly pipes?: readonly PipeReader[];
  /**
   * Writes a pipe that the program reads, behind all others: fd `FIRST_PIPE` + the number of `pipes`. (A standard input of its own no program has:
   * what a shell starts beside itself reads none.) `write` waits until the pipe has taken all of it; false: the program reads no more, and its end is
   * reported in the result. When it returns, the pipe ends; when the program ends first, nobody waits for it.
   */
  readonly feed?: (write: (bytes: Uint8Array) => Promise<boolean>) => Promise<void>;
  /** Every whole line of stderr as it comes (cut at 64 KiB); `stderr` keeps the tail all the same. */
  readonly onStderrLine?: (line: string) => void;
  /** Silence of `touch` for this long ends the program as stalled. */
  readonly stallMilliseconds?: number;
  /** Receives the function to call at each sign of progress, and the id of the program's process group. */
  readonly onStart?: (touch: () => void, group: number | undefined) => void;
  /** From SIGTERM to SIGKILL. Default 2 s. */
  readonly graceMilliseconds?: number;
  readonly niceness?: number;
}

/** File descriptor of the first of `pipes`: 0 to 3 are in use, and 4 is the tie (see tie.ts). */
export const FIRST_PIPE = 5;

const STDERR_TAIL_BYTES = 64 * 1024;
/** After SIGKILL a program ends at once, unless the kernel holds it; waiting longer would hang the whole night. */
const AFTER_KILL_MILLISECONDS = 10_000;
/** After the program's end: how long a pipe that another process still holds open may be silent. */
const QUIET_PIPE_MILLISECONDS = 2_000;

/** Groups of programs that run now: an ordinary end of this process ends them too. */
const liveGroups = new Set<number>();
process.on('exit', () => {
  for (const pid of liveGroups) killGroup(pid, 'SIGKILL');
});

function killGroup(pid: number | undefined, signal: NodeJS.Signals): void {
  if (pid === undefined) return;
  try {
    process.kill(-pid, signal);
  } catch {
    // Gone already.
  }
}

/** Keeps the tail of stderr and hands out its lines. */
class StderrReader {
  readonly #tail: Buffer[] = [];
  #bytes = 0;
  readonly #decoder = new StringDecoder('utf8');
  #rest = '';
  readonly #onLine: ((line: string) => void) | undefined;
  constructor(onLine: ((line: string) => void) | undefined) {
    this.#onLine = onLine;
  }
  take(chunk: Buffer): void {
    this.#tail.push(chunk);
    this.#bytes += chunk.length;
    while (this.#bytes - (this.#tail[0]?.length ?? 0) >= STDERR_TAIL_BYTES)
      this.#bytes -= this.#tail.shift()?.length ?? 0;
    if (this.#onLine === undefined) return;
    const lines = (this.#rest + this.#decoder.write(chunk)).split('\n');
    // A program that never ends its line must not fill the memory.
    this.#rest = (lines.pop() ?? '').slice(0, STDERR_TAIL_BYTES);
    for (const line of lines) this.#onLine(line);
  }
  end(): void {
    const last = this.#rest + this.#decoder.end();
    if (last !== '') this.#onLine?.(last);
  }
  text(): string {
    const all = Buffer.concat(this.#tail);
    return all.subarray(Math.max(0, all.length - STDERR_TAIL_BYTES)).toString('utf8');
  }
}

function notRun(
  command: string,
  args: readonly string[],
  reason: 'stopped' | 'not-started',
  startError: string | null,
): RunResult {
  return {
    command,
    args,
    reason,
    exitCode: null,
    signal: null,
    forced: false,
    lingering: false,
    milliseconds: 0,
    stderr: '',
    startError,
  };
}

/**
 * Throws RangeError when an argument cannot stand on a command line, and whatever a reader (`onStdout`, `onProgress`, `pipes`,
 * `onStderrLine`) or `feed` throws, after the program has been ended. Everything else is reported in the result.
 */
export async function runTool(
  command: string,
  args: readonly string[],
  options: RunOptions = {},
): Promise<RunResult> {
  const checked = args.map(programArgument);
  if (options.signal?.aborted === true) return notRun(command, args, 'stopped', null);
  const cannot = whyNotRunnable(command);
  if (cannot !== null) return notRun(command, args, 'not-started', cannot);

  const started = performance.now();
  const line = tied(command, checked, options.niceness);
  // execa's types end at file descriptor 9; any is handed to the program as it is.
  const further = (options.pipes ?? []).map((pipe) =>
    typeof pipe === 'function' ? 'pipe' : (pipe.writeEnd as 9),
  );
  // execa listens for errors once for each pipe: more than ten are no leak.
  const before = EventEmitter.defaultMaxListeners;
  EventEmitter.defaultMaxListeners = before + further.length;
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
      'pipe',
      ...further,
      ...(options.feed === undefined ? [] : (['pipe'] as const)),
    ],
  });
  EventEmitter.defaultMaxListeners = before;
  child.setMaxListeners(before + further.length);
  const held = (options.pipes ?? []).filter((pipe) => typeof pipe !== 'function');
  for (const pipe of held) pipe.handed();
  const pid = child.pid;
  if (pid !== undefined) liveGroups.add(pid);
  const streams = child.stdio as unknown as (Socket | null)[];
  const readable = [
    ...streams.slice(1, 4),
    ...streams.slice(FIRST_PIPE, FIRST_PIPE + (options.pipes?.length ?? 0)),
  ];
  const stdinStream =
    options.feed === undefined ? undefined : streams[FIRST_PIPE + (options.pipes?.length ?? 0)];
  // That a program reads no more is seen by `write`, that it has ended by the result.
  stdinStream?.on('error', () => undefined);
  // The tie (fd 4) carries nothing; it breaks when the program's shell is killed, and the result says so.
  streams[4]?.on('error', () => undefined);

  let reason: EndReason | undefined;
  let forced = false;
  let lingering = false;
  const timers = new Set<NodeJS.Timeout>();
  const later = (milliseconds: number, then: () => void): NodeJS.Timeout => {
    const timer = setTimeout(then, milliseconds);
    timers.add(timer);
    return timer;
  };
  let giveUp = (): void => undefined;
  const givenUp = new Promise<null>((resolve) => {
    giveUp = () => resolve(null);
  });
  const end = (why: EndReason): void => {
    if (reason !== undefined) return;
    reason = why;
    killGroup(pid, 'SIGTERM');
    later(options.graceMilliseconds ?? 2_000, () => {
      forced = true;
      killGroup(pid, 'SIGKILL');
      later(AFTER_KILL_MILLISECONDS, () => giveUp());
    });
  };
  const onAbort = (): void => end('stopped');
  options.signal?.addEventListener('abort', onAbort, { once: true });

  const stallTimer =
    options.stallMilliseconds === undefined
      ? undefined
      : later(options.stallMilliseconds, () => end('stalled'));
  options.onStart?.(() => stallTimer?.refresh(), pid);

  child.once('exit', (code, signal) => {
    // From here on nothing else can be the reason, and whatever the program left behind in its group goes.
    reason ??=
      signal === null
        ? code === NOT_FOUND || code === NOT_RUNNABLE
          ? 'not-started'
          : 'exited'
        : 'signalled';
    for (const timer of timers) clearTimeout(timer);
    killGroup(pid, 'SIGKILL');
    if (pid !== undefined) liveGroups.delete(pid);
    // Whoever else holds its other end: what was not taken by now nobody takes.
    stdinStream?.destroy();
    closeQuietPipes(readable, later);
    for (const pipe of held) pipe.left();
  });

  let readerError: { error: unknown } | undefined;
  const guarded = async (reader: Promise<void>): Promise<void> => {
    try {
      await reader;
    } catch (error) {
      readerError ??= { error };
      end('stopped');
      // Nobody reads any more: drained, or the program would stay blocked on a full pipe until it is killed.
      for (const stream of readable) stream?.resume();
    }
  };
  const stderrReader = new StderrReader(options.onStderrLine);
  const readers: Promise<void>[] = [];
  const stderr = streams[2];
  if (stderr) {
    readers.push(
      guarded(
        (async () => {
          for await (const chunk of stderr) stderrReader.take(chunk as Buffer);
          stderrReader.end();
        })(),
      ),
    );
  }
  if (options.onStdout !== undefined && streams[1]) readers.push(guarded(options.onStdout(streams[1])));
  if (options.onProgress !== undefined && streams[3]) readers.push(guarded(options.onProgress(streams[3])));
  options.pipes?.forEach((read, index) => {
    const stream = streams[FIRST_PIPE + index];
    if (typeof read !== 'function') readers.push(guarded(read.read()));
    else if (stream) readers.push(guarded(read(stream)));
  });
  // Not among those that are waited for: it may have nothing to write for longer than the program lives.
  if (options.feed !== undefined && stdinStream)
    void guarded(options.feed(writerOf(stdinStream)).then(() => void stdinStream.end()));

  try {
    const ended = await Promise.race([Promise.all([child, ...readers]).then(([result]) => result), givenUp]);
    if (ended === null) {
      lingering = true;
      for (const stream of streams) stream?.destroy();
      child.unref();
    }
    if (readerError !== undefined) throw readerError.error;
    const ran = ended === null || ended.exitCode !== undefined || ended.signal !== undefined;
    const why: EndReason = ran ? (reason ?? 'exited') : 'not-started';
    return {
      command,
      args,
      reason: why,
      exitCode: ended?.exitCode ?? null,
      signal: ended?.signal ?? null,
      forced,
      lingering,
      milliseconds: performance.now() - started,
      stderr: stderrReader.text(),
      startError:
        why !== 'not-started'
          ? null
          : ran
            ? stderrReader.text().trim() || `exit code ${ended?.exitCode ?? '?'}`
            : (ended?.shortMessage ?? 'could not be started'),
    };
  } finally {
    for (const timer of timers) clearTimeout(timer);
    options.signal?.removeEventListener('abort', onAbort);
    if (pid !== undefined && !lingering) liveGroups.delete(pid);
  }
}

function writerOf(stream: Socket): (bytes: Uint8Array) => Promise<boolean> {
  return (bytes) =>
    new Promise((resolve) => {
      if (stream.destroyed || !stream.writable) resolve(false);
      else stream.write(bytes, (error) => resolve(error === undefined || error === null));
    });
}

/**
 * A process that left the program's group can hold its pipes open for ever. The program has ended, so a pipe that is empty
 * and silent is closed; one whose reader is merely slow keeps its bytes (they show as `readableLength`).
 */
function closeQuietPipes(
  streams: readonly (Socket | null)[],
  later: (milliseconds: number, then: () => void) => void,
): void {
  for (const stream of streams) {
    if (!stream) continue;
    let before = stream.bytesRead;
    const look = (): void => {
      if (stream.readableEnded || stream.destroyed) return;
      if (stream.bytesRead === before && stream.readableLength === 0) {
        // An ordinary end for whoever reads, then our side is closed.
        stream.once('end', () => stream.destroy());
        stream.push(null);
        return;
      }
      before = stream.bytesRead;
      later(QUIET_PIPE_MILLISECONDS, look);
    };
    later(QUIET_PIPE_MILLISECONDS, look);
  }
}

/** Runs a program and returns its stdout as bytes, up to `limitBytes` (default 64 MiB; more throws RangeError). */
export async function runForOutput(
  command: string,
  args: readonly string[],
  options: Omit<RunOptions, 'onStdout'> & { limitBytes?: number } = {},
): Promise<RunResult & { stdout: Buffer }> {
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
