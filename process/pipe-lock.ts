/** A thread's part of a pipe of frames (frame-pipe.ts): to wait for its turn, and to read a frame. */
import { readSync } from 'node:fs';

/** What a thread needs; plain values and shared bytes. */
export interface PipeShare {
  /** The reading end, of the whole process. */
  readonly fd: number;
  /** Int32 at the places below. */
  readonly state: SharedArrayBuffer;
}

/** Whose turn it is: the number of the frame that is read now. */
export const TURN = 0;
export const NOBODY = -1;
/** 1: no frame comes any more. */
export const ENDED = 1;
/** How often something was read. */
export const READS = 2;
/** Threads that are reading, or about to. */
export const READERS = 3;
export const PLACES = 4;

/**
 * In a thread: waits until frame `turn` is next and reads it into `room`. False when the pipe ended before it or within it: a part of a frame is none.
 * Every number from 0 on must be asked for, each once. Throws what reading throws; the pipe has ended then for all.
 */
export function readTurn({ fd, state: shared }: PipeShare, turn: number, room: Uint8Array): boolean {
  const state = new Int32Array(shared);
  for (let now = Atomics.load(state, TURN); now !== turn; now = Atomics.load(state, TURN)) {
    if (Atomics.load(state, ENDED) === 1) return false;
    Atomics.wait(state, TURN, now);
  }
  let filled = 0;
  // Counted before the end is asked for: whoever ends the pipe waits for those that are counted before the number of its end may be another file's.
  Atomics.add(state, READERS, 1);
  try {
    while (filled < room.length && Atomics.load(state, ENDED) === 0) {
      const count = readSync(fd, room, filled, room.length - filled, null);
      if (count === 0) break;
      filled += count;
      Atomics.add(state, READS, 1);
    }
  } finally {
    if (filled < room.length) Atomics.store(state, ENDED, 1);
    Atomics.sub(state, READERS, 1);
    Atomics.store(state, TURN, turn + 1);
    Atomics.notify(state, TURN);
  }
  return filled === room.length;
}
