/**
 * Frames to masters: a few threads, each of which takes one frame from its code values to its files. No more frames are in
 * flight than there are threads and one to be filled meanwhile, whatever the clip's length: a source that is faster waits.
 */
import type { Readable } from 'node:stream';
import { createThreadPool } from '../../media/threads.ts';
import { POINTS } from '../../media/trail/points.ts';
import type { FrameAnswer, FrameOrder, MillSetup, WrittenFrame } from './orders.ts';

export interface Milled {
  /** By frame, as in the point trail. */
  readonly values: Float32Array;
  /** By output and frame. */
  readonly written: readonly (readonly WrittenFrame[])[];
  readonly invalid: number;
}

export interface Mill {
  /** Reads frames of `frameBytes` from a decoder until it ends. Rejects with what the first frame failed of. */
  read(stream: Readable, frameBytes: number): Promise<void>;
  /** Raw frames, read by the threads themselves. */
  take(frames: number, signal: AbortSignal): Promise<void>;
  /** Frames that are finished, from the first on, without a gap. */
  readonly frames: number;
  milled(): Milled;
  close(): Promise<void>;
}

export function startMill(setup: MillSetup, threads: number, onFrame: (finished: number) => void): Mill {
  const pool = createThreadPool<MillSetup, FrameOrder, FrameAnswer>('worker/master/thread.js', threads, setup);
  const answers: (FrameAnswer | undefined)[] = [];
  let finished = 0;
  let failure: { readonly error: unknown } | null = null;
  const running = new Set<Promise<void>>();

  function order(index: number, bytes: SharedArrayBuffer | null, done: () => void): void {
    const work: Promise<void> = pool
      .run({ index, bytes })
      .then(
        (answer) => {
          answers[index] = answer;
          while (answers[finished] !== undefined) finished += 1;
          onFrame(finished);
        },
        (error: unknown) => {
          failure ??= { error };
        },
      )
      .finally(() => {
        running.delete(work);
        done();
      });
    running.add(work);
  }

  const check = (): void => {
    if (failure !== null) throw failure.error;
  };
  const atMost = async (count: number): Promise<void> => {
    while (running.size > count) await Promise.race(running);
    check();
  };

  return {
    get frames() {
      return finished;
    },
    async read(stream, frameBytes) {
      const free: SharedArrayBuffer[] = [];
      let made = 0;
      let next = 0;
      let buffer: SharedArrayBuffer | null = null;
      let filled = 0;
      for await (const part of stream) {
        let chunk = part as Buffer;
        while (chunk.length > 0) {
          if (buffer === null) {
            // As many as there are threads, and the one that is being filled.
            while (free.length === 0 && made > threads) await atMost(running.size - 1);
            check();
            buffer = free.pop() ?? null;
            if (buffer === null) {
              buffer = new SharedArrayBuffer(frameBytes);
              made += 1;
            }
          }
          const count = Math.min(chunk.length, frameBytes - filled);
          new Uint8Array(buffer).set(chunk.subarray(0, count), filled);
          filled += count;
          chunk = chunk.subarray(count);
          if (filled < frameBytes) continue;
          const whole = buffer;
          order(next, whole, () => free.push(whole));
          next += 1;
          buffer = null;
          filled = 0;
        }
      }
      // A part of a frame at the end is no frame: that one is missing, the count tells.
      await atMost(0);
    },
    async take(frames, signal) {
      for (let index = 0; index < frames; index += 1) {
        signal.throwIfAborted();
        await atMost(threads - 1);
        order(index, null, () => undefined);
      }
      await atMost(0);
    },
    milled() {
      const values = new Float32Array(finished * POINTS * 3);
      let invalid = 0;
      const written: WrittenFrame[][] = setup.outputs.map(() => []);
      for (const answer of answers.slice(0, finished) as FrameAnswer[]) {
        values.set(answer.points, answer.index * POINTS * 3);
        invalid += answer.invalid;
        for (const [output, file] of answer.written.entries()) written[output]?.push(file);
      }
      return { values, written, invalid };
    },
    close: () => pool.close(),
  };
}
