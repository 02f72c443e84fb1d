/**
 * A pipe that one program fills and the threads of this process empty, whole frames in turn, each straight into its own memory. Through
 * a pipe of Node's every frame would pass the main thread in pieces of 64 KiB, at three times the processor time (docs/bench.md).
 * It is a named pipe (POSIX mkfifo), since Node makes no other whose reading end threads could share.
 */
import { codeOf } from '../files/error-code.ts';
import { closeSync, constants, openSync, readSync, rmSync, writeSync } from 'node:fs';
import { setTimeout as sleep } from 'node:timers/promises';
import { ENDED, NOBODY, PLACES, type PipeShare, READERS, READS, TURN } from './pipe-lock.ts';
import { type HeldPipe, runTool } from './run.ts';

/** After the program's end: how long another process that still holds the pipe may be silent. */
const QUIET_MILLISECONDS = 2_000;
const DRAINING_MILLISECONDS = 1;
const CLOSING_MILLISECONDS = 2;

export interface FramePipe extends Omit<HeldPipe, 'read'> {
  readonly share: PipeShare;
  /** No frame is wanted any more: threads that read or wait are let go, and what still comes is thrown away, so that nobody stays blocked on a full pipe. */
  end(): void;
  /** Ends it, waits until no thread reads, and takes it away; once more does nothing. */
  close(): Promise<void>;
}

/** `path`: where the pipe may stand, in a private folder. Throws Error when it cannot be made. */
export async function openFramePipe(path: string): Promise<FramePipe> {
  const made = await runTool('mkfifo', ['-m', '600', path]);
  if (made.exitCode !== 0)
    throw new Error(`no named pipe at ${path}: ${made.startError ?? made.stderr.trim()}`);
  // A reading end opens at once only if it does not block; with it there, the others do too. It is the drain.
  const drain = openSync(path, constants.O_RDONLY | constants.O_NONBLOCK);
  const writeEnd = openSync(path, constants.O_WRONLY);
  const fd = openSync(path, constants.O_RDONLY);
  const share: PipeShare = { fd, state: new SharedArrayBuffer(4 * PLACES) };
  const state = new Int32Array(share.state);
  let held = true;
  let closed = false;
  /** Its files are closed. */
  let gone = false;
  let quiet: NodeJS.Timeout | undefined;
  let draining: NodeJS.Timeout | undefined;

  const handed = (): void => {
    if (held) closeSync(writeEnd);
    held = false;
  };
  /** Drained only when nobody reads: the drain could take the byte that is to wake a reader. */
  const wakeOrDrain = (): void => {
    if (Atomics.load(state, READERS) > 0) wake(path);
    else if (emptied(drain)) clearInterval(draining);
  };
  const end = (): void => {
    // A reader that was given up with its program ends it late: the numbers may be other files' by now.
    if (gone) return;
    Atomics.store(state, ENDED, 1);
    // A turn that nobody has: whoever is about to wait for another number finds it changed.
    Atomics.store(state, TURN, NOBODY);
    Atomics.notify(state, TURN);
    draining ??= setInterval(wakeOrDrain, DRAINING_MILLISECONDS);
    wakeOrDrain();
  };
  return {
    share,
    writeEnd,
    handed,
    left() {
      if (closed) return;
      let before = Atomics.load(state, READS);
      quiet = setInterval(() => {
        const now = Atomics.load(state, READS);
        if (now === before && Atomics.load(state, READERS) > 0) end();
        before = now;
      }, QUIET_MILLISECONDS);
    },
    end,
    async close() {
      if (closed) return;
      closed = true;
      handed();
      clearInterval(quiet);
      end();
      while (Atomics.load(state, READERS) > 0) await sleep(CLOSING_MILLISECONDS);
      clearInterval(draining);
      gone = true;
      closeSync(fd);
      closeSync(drain);
      rmSync(path, { force: true });
    },
  };
}

/** A thread that is held in a read of an empty pipe gets a byte, which then belongs to nothing. */
function wake(path: string): void {
  const end = openSync(path, constants.O_WRONLY | constants.O_NONBLOCK);
  try {
    writeSync(end, Buffer.of(0));
  } catch (error) {
    // Full: then nobody is held.
    if (codeOf(error) !== 'EAGAIN') throw error;
  } finally {
    closeSync(end);
  }
}

/** Throws away what is there. True: nothing comes any more. */
function emptied(drain: number): boolean {
  const room = Buffer.allocUnsafe(64 * 1024);
  try {
    while (readSync(drain, room) > 0);
    return true;
  } catch (error) {
    if (codeOf(error) === 'EAGAIN') return false;
    throw error;
  }
}
