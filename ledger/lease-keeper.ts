/**
 * Keeps leases alive for a process. The beat comes from a thread of its own, so that work that blocks the process's event
 * loop for a while does not look like a death; the thread in turn stops when that loop gave no sign for a long time.
 *
 * Who publishes asks `holds()` first. It reads what the thread last confirmed, from memory that both share: after a pause of
 * the whole process it says no before any message could have been read.
 */
import { statSync } from 'node:fs';
import { dirname } from 'node:path';
import { Worker } from 'node:worker_threads';
import { programFile } from '../files/installation.ts';
import { fsPath } from '../files/names.ts';
import type { Kept } from './lease-beat.ts';
import { LEASE_BEAT_MILLISECONDS, LEASE_DEAD_MILLISECONDS, type Lease, type LeasePlace } from './lease.ts';
import { type HeldLease, releaseLease } from './lease-file.ts';

export interface KeeperSetup {
  readonly beatMilliseconds: number;
  readonly hungMilliseconds: number;
  /** One BigInt64: nowMilliseconds of the process's last sign. */
  readonly sign: SharedArrayBuffer;
}
export type ToKeeper =
  | { readonly kind: 'keep'; readonly kept: Kept; readonly lease: Lease; readonly cells: SharedArrayBuffer }
  | { readonly kind: 'drop'; readonly token: string };
export type FromKeeper =
  | { readonly kind: 'lost' | 'not-reached'; readonly token: string; readonly why: string }
  | { readonly kind: 'dropped'; readonly token: string };
/** Of the memory that a lease's thread and process share. */
export const CELL = { confirmed: 0, lost: 1 } as const;

/** Monotonic, and the same in every thread of a process, which performance.now() is not. */
export function nowMilliseconds(): bigint {
  return process.hrtime.bigint() / 1_000_000n;
}

/** Of the time after which others take a lease for dead: from then on nothing is published any more. */
const SHARE_OF_DEAD = 0.8;
const SIGN_MILLISECONDS = 1_000;
const HUNG_MILLISECONDS = 600_000;

export interface KeeperTiming {
  readonly beatMilliseconds: number;
  readonly deadMilliseconds: number;
  readonly hungMilliseconds: number;
}
const usual: KeeperTiming = {
  beatMilliseconds: LEASE_BEAT_MILLISECONDS,
  deadMilliseconds: LEASE_DEAD_MILLISECONDS,
  hungMilliseconds: HUNG_MILLISECONDS,
};

export interface KeptLease {
  readonly held: HeldLease;
  /** False: it was lost, or was not confirmed for so long that others may soon take it for dead. */
  stillOurs(): boolean;
  /** Stops the beat and takes the lease away. */
  release(): Promise<void>;
}

export interface LeaseEvents {
  /** Somebody else has its place now. Called once. */
  lost(why: string): void;
  /** A beat did not come through; the next one may. */
  notReached?(why: string): void;
}

export interface LeaseKeeper {
  /** Throws what node:fs throws for a folder that is not there. */
  keep(held: HeldLease, place: LeasePlace | null, events: LeaseEvents): KeptLease;
  /** Ends the thread. Leases that were not released stay where they are, and die. */
  close(): Promise<void>;
}

export function startLeaseKeeper(timing: KeeperTiming = usual): LeaseKeeper {
  const program = programFile('ledger/lease-thread.js');
  const sign = new SharedArrayBuffer(8);
  const signs = new BigInt64Array(sign);
  const giveSign = (): void => void Atomics.store(signs, 0, nowMilliseconds());
  giveSign();
  const signing = setInterval(giveSign, Math.min(SIGN_MILLISECONDS, timing.hungMilliseconds / 4));
  signing.unref();
  const setup: KeeperSetup = {
    beatMilliseconds: timing.beatMilliseconds,
    hungMilliseconds: timing.hungMilliseconds,
    sign,
  };
  const thread = new Worker(program, { workerData: setup, execArgv: [] });
  // It must not keep a process alive that has nothing else to do.
  thread.unref();
  const listeners = new Map<string, LeaseEvents>();
  const dropping = new Map<string, () => void>();
  let ended = false;
  thread.on('message', (message: FromKeeper) => {
    if (message.kind === 'dropped') dropping.get(message.token)?.();
    else if (message.kind === 'not-reached') listeners.get(message.token)?.notReached?.(message.why);
    else {
      listeners.get(message.token)?.lost(message.why);
      listeners.delete(message.token);
    }
  });
  const over = (why: string): void => {
    ended = true;
    for (const done of dropping.values()) done();
    for (const events of [...listeners.values()]) events.lost(why);
    listeners.clear();
  };
  thread.on('error', (error) => over(`the thread that keeps it ended: ${error.message}`));
  thread.on('exit', () => over('the thread that keeps it ended'));
  const send = (message: ToKeeper): void => thread.postMessage(message);

  return {
    keep(held, place, events) {
      const { token } = held.lease;
      const cells = new SharedArrayBuffer(16);
      const cell = new BigInt64Array(cells);
      Atomics.store(cell, CELL.confirmed, nowMilliseconds());
      const device = statSync(fsPath(dirname(held.path)), { bigint: true }).dev;
      listeners.set(token, events);
      send({ kind: 'keep', kept: { path: held.path, place, device }, lease: held.lease, cells });
      const limit = BigInt(Math.floor(timing.deadMilliseconds * SHARE_OF_DEAD));
      return {
        held,
        stillOurs: () =>
          !ended &&
          Atomics.load(cell, CELL.lost) === 0n &&
          nowMilliseconds() - Atomics.load(cell, CELL.confirmed) < limit,
        async release() {
          listeners.delete(token);
          if (!ended)
            await new Promise<void>((resolve) => {
              dropping.set(token, resolve);
              send({ kind: 'drop', token });
            });
          dropping.delete(token);
          await releaseLease(held);
        },
      };
    },
    async close() {
      listeners.clear();
      clearInterval(signing);
      await thread.terminate();
    },
  };
}
