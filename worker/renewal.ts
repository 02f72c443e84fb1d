/**
 * The locks of the jobs that this process works on, renewed apart from the work: by a thread with a connection of its own,
 * on a monotonic clock. Work may then block the process's loop for a while, and a wall clock may be set, without the job being
 * given to another worker. A lock that was not confirmed for 0.8 of its time counts as lost before it is.
 */
import { Worker } from 'node:worker_threads';
import { programFile } from '../files/installation.ts';
import type { QueueAddress } from '../ledger/queue.ts';

export interface RenewalSetup {
  readonly queue: QueueAddress;
  readonly lockMilliseconds: number;
  /** A loop that gave no sign for so long counts as hung: its locks are left to run out. */
  readonly hungMilliseconds: number;
  readonly sign: SharedArrayBuffer;
}
export type ToRenewer =
  | {
      readonly kind: 'keep';
      readonly queue: string;
      readonly id: string;
      readonly token: string;
      readonly cells: SharedArrayBuffer;
    }
  | { readonly kind: 'drop'; readonly token: string };
export type FromRenewer =
  | { readonly kind: 'ready' }
  | { readonly kind: 'lost'; readonly id: string; readonly token: string; readonly why: string };
/** Places in the memory of a job that both share, and the share of a lock's time after which it is given up. */
export const RENEWAL = { confirmed: 0, lost: 1, share: 0.8 } as const;

/** Monotonic, and the same in every thread of a process. */
export function nowMilliseconds(): bigint {
  return process.hrtime.bigint() / 1_000_000n;
}

export interface RenewedLock {
  /** False: lost, or not confirmed for too long. */
  stillOurs(): boolean;
  release(): void;
}

export interface Renewer {
  /** The thread is there. Before that no job is to be taken: on a busy machine its start takes seconds of the first lock. Rejects when it ended. */
  readonly ready: Promise<void>;
  /** `lost` is called once, with the reason. */
  keep(
    job: { readonly queue: string; readonly id: string },
    token: string,
    lost: (why: string) => void,
  ): RenewedLock;
  close(): Promise<void>;
}

const SIGN_MILLISECONDS = 1_000;

export function startRenewer(setup: Omit<RenewalSetup, 'sign'>): Renewer {
  const program = programFile('worker/renewal-thread.js');
  const sign = new SharedArrayBuffer(8);
  const signs = new BigInt64Array(sign);
  const giveSign = (): void => void Atomics.store(signs, 0, nowMilliseconds());
  giveSign();
  const signing = setInterval(giveSign, Math.min(SIGN_MILLISECONDS, setup.hungMilliseconds / 4));
  signing.unref();
  const thread = new Worker(program, { workerData: { ...setup, sign } satisfies RenewalSetup, execArgv: [] });
  thread.unref();
  const listeners = new Map<string, (why: string) => void>();
  let isReady: () => void = () => undefined;
  let failed: (error: Error) => void = () => undefined;
  const ready = new Promise<void>((resolve, reject) => {
    isReady = resolve;
    failed = reject;
  });
  // Whoever awaits it learns of it.
  ready.catch(() => undefined);
  thread.on('message', (message: FromRenewer) => {
    if (message.kind === 'ready') {
      isReady();
      return;
    }
    listeners.get(message.token)?.(message.why);
    listeners.delete(message.token);
  });
  const over = (): void => {
    failed(new Error('the thread that renews locks ended'));
    for (const lost of listeners.values()) lost('the thread that renews it ended');
    listeners.clear();
  };
  thread.on('error', over);
  thread.on('exit', over);
  const send = (message: ToRenewer): void => thread.postMessage(message);
  const limit = BigInt(Math.floor(setup.lockMilliseconds * RENEWAL.share));

  return {
    ready,
    keep({ queue, id }, token, lost) {
      const cells = new SharedArrayBuffer(16);
      const cell = new BigInt64Array(cells);
      // The queue gave the lock a moment ago; the thread asks at once.
      Atomics.store(cell, RENEWAL.confirmed, nowMilliseconds());
      listeners.set(token, lost);
      send({ kind: 'keep', queue, id, token, cells });
      return {
        stillOurs: () =>
          listeners.has(token) &&
          Atomics.load(cell, RENEWAL.lost) === 0n &&
          nowMilliseconds() - Atomics.load(cell, RENEWAL.confirmed) < limit,
        release: () => {
          listeners.delete(token);
          send({ kind: 'drop', token });
        },
      };
    },
    async close() {
      clearInterval(signing);
      listeners.clear();
      await thread.terminate();
    },
  };
}
