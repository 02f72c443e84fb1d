/**
 * Which jobs this process takes, and when: as many at a time as it has slots, from the queues that it is told: of one run the first first, of several runs by their shares.
 * A queue of jobs that this machine cannot do is never asked. BullMQ's own loop reads one queue; this one asks each in turn.
 */
import { randomUUID } from 'node:crypto';
import { type ConnectionOptions, type Job as QueuedJob, UnrecoverableError, Worker } from 'bullmq';
import type { Redis } from 'ioredis';
import { BULL_PREFIX } from '../ledger/queue.ts';
import { sharesOf, type Charge, type Take } from './shares.ts';

export interface TakingRequest {
  readonly redis: Redis;
  readonly slots: number;
  readonly lockMilliseconds: number;
  readonly stalledMilliseconds: number;
  readonly stallsAllowed: number;
  /** How long it rests at most when nothing is waiting. */
  readonly restMilliseconds: number;
  work(queued: QueuedJob, token: string, queue: string): Promise<void>;
  log(message: string, fields: Record<string, unknown>): void;
}

export interface Taking {
  /** Begins each token, `<name>:<number>`: whose a lock is (ledger/queue.ts, lockNameKey). */
  readonly name: string;
  /** From now on. */
  tell(queues: readonly Take[]): void;
  /** Takes nothing more; resolves when what runs has ended. */
  finish(): Promise<void>;
  close(): Promise<void>;
}

interface Begun {
  readonly queued: QueuedJob;
  readonly token: string;
  readonly charge: Charge;
}

/** How long nobody asks when nothing is waiting. */
export const REST_MILLISECONDS = 250;
export const FARM_REST_MILLISECONDS = 1_000;
const LEAST_REST_MILLISECONDS = 50;
/** A store that is away answers later, or never. */
const CLOSING_MILLISECONDS = 2_000;

export function startTaking(request: TakingRequest): Taking {
  const { redis, slots, work, log } = request;
  const name = randomUUID();
  const handles = new Map<string, Worker>();
  /** With the queue that each is of. */
  const running = new Map<Promise<void>, string>();
  /** Jobs whose work has not ended; of the others the store is being told. */
  let working = 0;
  let takes: readonly Take[] = [];
  const shares = sharesOf(redis, log);
  let ending = false;
  let taken = 0;
  let wake: () => void = () => undefined;

  const handleOf = (queue: string): Worker => {
    const known = handles.get(queue);
    if (known !== undefined) return known;
    const handle = new Worker(queue, null, {
      connection: redis as ConnectionOptions,
      prefix: BULL_PREFIX,
      lockDuration: request.lockMilliseconds,
      // By a thread of ours (renewal.ts).
      skipLockRenewal: true,
      stalledInterval: request.stalledMilliseconds,
      maxStalledCount: request.stallsAllowed,
    });
    handle.on('error', (error) => log('queue', { queue, error: error.message }));
    handle.startStalledCheckTimer().catch((error: unknown) => log('queue', { error: String(error) }));
    handles.set(queue, handle);
    return handle;
  };
  const drop = (queue: string): void => {
    const handle = handles.get(queue);
    handles.delete(queue);
    handle?.close(true).catch((error: unknown) => log('closing a queue', { error: String(error) }));
  };

  const take = async (): Promise<boolean> => {
    for (const one of await shares.inTurn(takes)) {
      const { queue } = one;
      taken += 1;
      const token = `${name}:${taken}`;
      const queued = (await handleOf(queue).getNextJob(token, { block: false })) as QueuedJob | undefined;
      if (queued === undefined) continue;
      const charge = await shares.charge(one, takes);
      // Looked at last: nothing is begun once no more is to be taken.
      if (!ending) begin(queue, { queued, token, charge });
      else {
        charge.settle(0);
        await queued.moveToWait(token);
      }
      return true;
    }
    return false;
  };
  const begin = (queue: string, begun: Begun): void => {
    const run = carryOut(queue, begun).finally(() => {
      running.delete(run);
      wake();
    });
    running.set(run, queue);
  };
  /** Never rejects. */
  const carryOut = async (queue: string, { queued, token, charge }: Begun): Promise<void> => {
    const { id } = queued;
    const from = performance.now();
    let failed: Error | null = null;
    working += 1;
    try {
      // The queue itself has given it up, and leaves the last word to whoever takes it.
      if (queued.deferredFailure) throw new UnrecoverableError(queued.deferredFailure);
      await work(queued, token, queue);
    } catch (error) {
      failed = error instanceof Error ? error : new Error(String(error));
      log('failed', { id, error: failed.message });
    } finally {
      working -= 1;
      charge.settle((performance.now() - from) / 1000);
    }
    try {
      if (failed === null) await queued.moveToCompleted(undefined, token, false);
      else await queued.moveToFailed(failed, token, false);
    } catch (error) {
      // Its lock was lost: whoever has it now says how it ends.
      log('its end was not taken', { id, error: String(error) });
    }
  };

  const rest = (milliseconds: number): Promise<void> =>
    new Promise((resolve) => {
      const timer = setTimeout(resolve, milliseconds);
      wake = () => {
        clearTimeout(timer);
        resolve();
      };
    });
  const loop = async (): Promise<void> => {
    let resting = LEAST_REST_MILLISECONDS;
    while (!ending) {
      let began = false;
      try {
        began = running.size < slots && (await take());
      } catch (error) {
        log('the queue gave no job', { error: String(error) });
      }
      if (began || ending) {
        resting = LEAST_REST_MILLISECONDS;
        continue;
      }
      await rest(resting);
      resting = Math.min(2 * resting, request.restMilliseconds);
    }
  };
  const looping = loop();

  return {
    name,
    tell(queues) {
      takes = [...queues];
      // While all slots are taken, too, each is looked at for jobs whose machine is lost: else that would begin with the first free slot.
      for (const { queue } of takes) handleOf(queue);
      // Its jobs end through it.
      const inUse = new Set([...takes.map(({ queue }) => queue), ...running.values()]);
      for (const queue of handles.keys()) if (!inUse.has(queue)) drop(queue);
      wake();
    },
    async finish() {
      ending = true;
      wake();
      await Promise.race([looping, after(CLOSING_MILLISECONDS)]);
      let over = false;
      const ended = Promise.all(running.keys()).then(() => {
        over = true;
      });
      // A store that is away is told nothing: the locks run out.
      while (!over && (working > 0 || redis.status === 'ready'))
        await Promise.race([ended, after(CLOSING_MILLISECONDS)]);
    },
    async close() {
      const closed = Promise.allSettled([...handles.values()].map((handle) => handle.close(true)));
      await Promise.race([closed, after(CLOSING_MILLISECONDS)]);
    },
  };
}

function after(milliseconds: number): Promise<void> {
  return new Promise((resolve) => {
    setTimeout(resolve, milliseconds).unref();
  });
}
