/**
 * The night's side of the queue: jobs in, hints out. Everything that comes out is a hint to look at the disk, since
 * events are trimmed, jobs are lost with their store, and a completed job says only that its processor returned.
 */
import type { BulkJobOptions, QueueEvents } from 'bullmq';
import { Redis } from 'ioredis';
import {
  BULL_PREFIX,
  cancelKey,
  type JobProgress,
  KEY_SECONDS,
  nightKey,
  type QueueAddress,
  redisOptions,
  runsKey,
} from '../../ledger/queue.ts';
import type { ClassNeed, MachineRecord } from '../../ledger/farm.ts';
import { type Ticket, TICKET_BYTES_LIMIT } from '../../ledger/ticket.ts';
import { type Classes, farmClasses, type FarmVolumes, oneClass } from './classes.ts';
import { giveBackOf } from './give-back.ts';
import { clearRun } from './leftovers.ts';

export interface QueueListeners {
  active(id: string): void;
  progress(id: string, progress: JobProgress): void;
  ended(id: string, how: 'completed' | 'failed', reason: string | null): void;
  /** A connection broke or came back with an error; commands wait meanwhile. */
  failure(error: Error): void;
  /** The connection is there again, perhaps to a store that forgot, or was set up anew. */
  back(): void;
}

/** Whose queue it is. */
export interface QueueOwner {
  readonly night: string;
  readonly run: string;
  /** Folder of the delivery, which machines of a farm must have; null: workers of this machine alone take from it. */
  readonly farm: string | null;
  /** Of a farm, beside other runs; absent: 1. */
  readonly weight?: number | undefined;
  /** null: the machines of the farm have equal paths. */
  readonly volumes?: FarmVolumes | null;
}

/** As BullMQ says it; `unknown`: it has no such job (never had, or lost it). */
export type QueueState =
  | 'waiting'
  | 'prioritized'
  | 'delayed'
  | 'active'
  | 'completed'
  | 'failed'
  | 'unknown';

export interface QueuedJob {
  /** Of the run and of this queueing alone: adding an id again does nothing. */
  readonly id: string;
  /** With the paths of this machine. */
  readonly ticket: Ticket;
  /** 1 runs first. */
  readonly priority: number;
}

export interface NightQueue {
  add(queue: string, jobs: readonly QueuedJob[]): Promise<void>;
  /** The queue of a class. */
  queueOf(need: ClassNeed): string;
  /** Of jobs in this queue. */
  statesOf(queue: string, ids: readonly string[]): Promise<Map<string, QueueState>>;
  /** What the queue was told of a job that it calls failed. */
  reasonOf(queue: string, id: string): Promise<string | null>;
  /** Of a job that failed, once that is known: the queue keeps it until then. */
  forget(queue: string, id: string): Promise<void>;
  /** Takes back those that nobody works on; returns their ids. */
  withdraw(queue: string, ids: readonly string[]): Promise<string[]>;
  /**
   * Of a worker process that has ended (its setup's `id`): one of the jobs that it still holds is given to the next worker at
   * once, and its id returned; null: it holds none. Which of several ended it is not known: the others come when their
   * locks run out, so that they do not meet the same end beside it again.
   */
  giveBack(worker: string): Promise<string | null>;
  /** Every worker ends this run's jobs at once. */
  cancelAll(): Promise<void>;
  /** False when a later run of the same night has taken over; true also after the store has lost its memory, which is set right. */
  isOurs(): Promise<boolean>;
  /** Of a farm: what its machines say of themselves; of one machine none. */
  machines(): Promise<MachineRecord[]>;
  /** Removes what this run left in the queue. */
  clear(): Promise<void>;
  close(): Promise<void>;
}

/** In one transaction, during which Redis answers nobody else. */
const ADDED_AT_ONCE = 250;

/** Ids hold no name of a roll or clip: BullMQ refuses `:` in them, and numbers alone. */
export function jobId(run: string, number: number, queueing: number): string {
  return `${run}.j${number}.q${queueing}`;
}

const optionsOf = ({ id, priority }: QueuedJob): BulkJobOptions => ({
  jobId: id,
  priority,
  attempts: 3,
  backoff: { type: 'exponential', delay: 2_000 },
  // Its reports say what came of it.
  removeOnComplete: true,
  // It alone says why; gone once that was heard.
  removeOnFail: false,
  sizeLimit: TICKET_BYTES_LIMIT,
  stackTraceLimit: 1,
});

export async function openNightQueue(
  address: QueueAddress,
  { night, run, farm, weight = 1, volumes = null }: QueueOwner,
  listeners: QueueListeners,
): Promise<NightQueue> {
  const client = new Redis(redisOptions(address));
  const eventClient = new Redis(redisOptions(address));
  const options = { connection: client, prefix: BULL_PREFIX } as const;
  // Without a listener an error would end the process.
  const failure = (error: Error): void => listeners.failure(error);
  for (const emitter of [client, eventClient]) emitter.on('error', failure);
  let wasThere = false;
  client.on('ready', () => {
    if (wasThere) listeners.back();
    wasThere = true;
  });

  const ours = (id: string): boolean => id.startsWith(`${run}.`);
  const request = {
    client,
    eventClient,
    onError: failure,
    onEvents: (events: QueueEvents): void => {
      events.on('active', ({ jobId }) => ours(jobId) && listeners.active(jobId));
      events.on(
        'progress',
        ({ jobId, data }) => ours(jobId) && listeners.progress(jobId, data as unknown as JobProgress),
      );
      events.on('completed', ({ jobId }) => ours(jobId) && listeners.ended(jobId, 'completed', null));
      events.on(
        'failed',
        ({ jobId, failedReason }) => ours(jobId) && listeners.ended(jobId, 'failed', failedReason),
      );
    },
  };
  const classes: Classes =
    farm === null
      ? await oneClass({ ...request, volumes })
      : farmClasses({ ...request, run, weight, delivery: farm, volumes });

  const claim = async (): Promise<void> => {
    await client.set(nightKey(night), run, 'EX', KEY_SECONDS);
    await client.sadd(runsKey(night), run);
    await client.expire(runsKey(night), KEY_SECONDS);
    await classes.post();
  };
  // Claim first: a worker that meets an older run's job from here on drops it.
  await claim();
  const older = (await client.smembers(runsKey(night))).filter((other) => other !== run);
  for (const other of older) {
    await clearRun(await classes.queuesOf(other), options, other);
    await client.srem(runsKey(night), other);
  }

  return {
    queueOf: classes.queueOf,
    async add(name, jobs) {
      const queue = await classes.open(name, [
        ...new Set(jobs.flatMap(({ ticket }) => [ticket.rollFolder, ...(ticket.soundFolders ?? [])])),
      ]);
      for (let start = 0; start < jobs.length; start += ADDED_AT_ONCE)
        await queue.addBulk(
          jobs.slice(start, start + ADDED_AT_ONCE).map((job) => ({
            name: 'clip',
            data: classes.portable(job.ticket),
            opts: optionsOf(job),
          })),
        );
    },
    async statesOf(name, ids) {
      const queue = classes.queue(name);
      if (queue === undefined) return new Map(ids.map((id) => [id, 'unknown']));
      const [waiting, active] = await Promise.all([
        queue.getRanges(['prioritized', 'wait', 'delayed'], 0, -1),
        queue.getRanges(['active'], 0, -1),
      ]);
      const known = new Map<string, QueueState>(waiting.map((id) => [id, 'prioritized']));
      for (const id of active) known.set(id, 'active');
      const states = new Map<string, QueueState>();
      // The others have ended, or were between two lists while these were read.
      const asked = await Promise.all(
        ids.map(async (id) => [id, known.get(id) ?? (await queue.getJobState(id))] as const),
      );
      for (const [id, state] of asked) states.set(id, state as QueueState);
      return states;
    },
    async reasonOf(name, id) {
      return (await classes.queue(name)?.getJob(id))?.failedReason ?? null;
    },
    async forget(name, id) {
      await classes.queue(name)?.remove(id);
    },
    async withdraw(name, ids) {
      const taken = await Promise.all(
        ids.map(async (id) => {
          // 0: a worker holds it. 1: it is gone, or was not there.
          const removed = await classes.queue(name)?.remove(id);
          return removed === 1 ? id : null;
        }),
      );
      return taken.filter((id) => id !== null);
    },
    async giveBack(worker) {
      return await giveBackOf(client, worker, classes.names());
    },
    async cancelAll() {
      await client.set(cancelKey(run), '1', 'EX', KEY_SECONDS);
    },
    async isOurs() {
      const holder = await client.get(nightKey(night));
      if (holder === null) await claim();
      return holder === null || holder === run;
    },
    machines: classes.machines,
    async clear() {
      await classes.takeDown();
      await clearRun(await classes.queuesOf(run), options, run);
      await client.srem(runsKey(night), run);
      await client.del(cancelKey(run));
      if ((await client.get(nightKey(night))) === run) await client.del(nightKey(night));
    },
    async close() {
      // Every step is tried; what a broken connection refuses to close is cut.
      await Promise.allSettled([classes.close()]);
      client.disconnect();
      eventClient.disconnect();
    },
  };
}
