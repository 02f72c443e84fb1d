/** The body of one reading thread: one file at a time, named by message, watched through shared memory (see hash-pool.ts). */
import { parentPort, workerData } from 'node:worker_threads';
import type { Algorithm } from './algorithms.ts';
import { createBlock, hashFile } from './hash.ts';

export interface HashOrder {
  readonly path: string;
  readonly wanted: readonly Algorithm[];
}

/** Places in the shared array: not 0 means stop; bytes of this file so far. */
export const STOP = 0;
export const BYTES = 1;

if (parentPort !== null) {
  const port = parentPort;
  const shared = new BigInt64Array(workerData as SharedArrayBuffer);
  const block = createBlock();
  const signal = {
    get aborted(): boolean {
      return Atomics.load(shared, STOP) !== 0n;
    },
  };
  port.on('message', (order: HashOrder) => {
    const onBytes = (bytes: number): void => {
      Atomics.add(shared, BYTES, BigInt(bytes));
    };
    // A failure that is not the file's is a fault of this program: it ends the thread, and the pool reports it.
    void hashFile(order.path, order.wanted, { signal, onBytes, block }).then((read) =>
      port.postMessage(read),
    );
  });
}
