/**
 * Reads several files at a time, each on a thread of its own, so that neither a slow checksum nor a slow disk holds up
 * the event loop or another file. The number of threads is the number of files that are open at once.
 */
import { Worker } from 'node:worker_threads';
import { programFile } from '../installation.ts';
import type { Algorithm } from './algorithms.ts';
import type { FileRead } from './hash.ts';
import { BYTES, type HashOrder, STOP } from './hash-thread.ts';

export interface HashPool {
  /** As `hashFile`, in the order of asking. After an abort it answers `stopped`. */
  hash(
    path: string,
    wanted: Iterable<Algorithm>,
    options?: { signal?: AbortSignal; onBytes?: (bytes: number) => void },
  ): Promise<FileRead>;
  /** Ends the threads. What still runs or waits answers `stopped`. */
  close(): Promise<void>;
}

interface Task {
  readonly order: HashOrder;
  readonly signal: AbortSignal | undefined;
  readonly onBytes: ((bytes: number) => void) | undefined;
  readonly resolve: (read: FileRead) => void;
  readonly reject: (error: unknown) => void;
}

interface Reader {
  readonly worker: Worker;
  readonly shared: BigInt64Array;
  task: Task | null;
  reported: bigint;
}

const PROGRESS_MILLISECONDS = 200;

export function createHashPool(readers: number): HashPool {
  if (!Number.isSafeInteger(readers) || readers < 1)
    throw new RangeError(`readers must be 1 or more, not ${readers}`);
  const program = programFile('files/manifest/hash-thread.js');
  const all = new Set<Reader>();
  const waiting: Task[] = [];
  let closed = false;
  let timer: NodeJS.Timeout | undefined;

  function tell(reader: Reader): void {
    const now = Atomics.load(reader.shared, BYTES);
    if (now > reader.reported) reader.task?.onBytes?.(Number(now - reader.reported));
    reader.reported = now;
  }

  function startReader(): Reader {
    const memory = new SharedArrayBuffer(16);
    const reader: Reader = {
      worker: new Worker(program, { workerData: memory, execArgv: [] }),
      shared: new BigInt64Array(memory),
      task: null,
      reported: 0n,
    };
    all.add(reader);
    reader.worker.on('message', (read: FileRead) => {
      const task = reader.task;
      if (task === null) return;
      tell(reader);
      release(reader);
      task.resolve(read);
      next();
    });
    reader.worker.on('error', (error) => fail(reader, error));
    reader.worker.on('exit', () => fail(reader, new Error('a reading thread ended on its own')));
    return reader;
  }

  function release(reader: Reader): void {
    reader.task = null;
    // An idle thread must not keep the program alive.
    reader.worker.unref();
    if ([...all].every((other) => other.task === null)) {
      clearInterval(timer);
      timer = undefined;
    }
  }

  function fail(reader: Reader, error: unknown): void {
    all.delete(reader);
    const task = reader.task;
    if (task === null) return;
    release(reader);
    if (closed) task.resolve({ state: 'stopped' });
    else task.reject(error);
    next();
  }

  function next(): void {
    while (waiting.length > 0 && !closed) {
      const free =
        [...all].find((reader) => reader.task === null) ?? (all.size < readers ? startReader() : undefined);
      if (free === undefined) return;
      const task = waiting.shift() as Task;
      if (task.signal?.aborted === true) {
        task.resolve({ state: 'stopped' });
        continue;
      }
      begin(free, task);
    }
  }

  function begin(reader: Reader, task: Task): void {
    Atomics.store(reader.shared, STOP, 0n);
    Atomics.store(reader.shared, BYTES, 0n);
    reader.reported = 0n;
    reader.task = task;
    reader.worker.ref();
    timer ??= setInterval(() => {
      for (const busy of all) {
        tell(busy);
        if (busy.task?.signal?.aborted === true) Atomics.store(busy.shared, STOP, 1n);
      }
    }, PROGRESS_MILLISECONDS);
    reader.worker.postMessage(task.order);
  }

  return {
    hash(path, wanted, options = {}) {
      return new Promise<FileRead>((resolve, reject) => {
        if (closed) {
          resolve({ state: 'stopped' });
          return;
        }
        waiting.push({
          order: { path, wanted: [...new Set(wanted)] },
          signal: options.signal,
          onBytes: options.onBytes,
          resolve,
          reject,
        });
        next();
      });
    },
    async close() {
      closed = true;
      clearInterval(timer);
      for (const task of waiting.splice(0)) task.resolve({ state: 'stopped' });
      await Promise.all([...all].map((reader) => reader.worker.terminate()));
    },
  };
}
