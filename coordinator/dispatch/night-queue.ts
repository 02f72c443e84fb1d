/**
 * The night's side of the queue: jobs in, hints out. Everything that comes out is a hint to look at the disk, since
 * events are trimmed, jobs are lost with their store, and a completed job says only that its processor returned.
 */
import { FlowProducer, type Queue, type QueueEvents, Worker } from 'bullmq';
import { Redis } from 'ioredis';
import {
  BULL_PREFIX,
  cancelKey,
  type JobProgress,
  KEY_SECONDS,
  nightKey,
  type QueueAddress,
  redisOptions,
  rollQueueOf,
  runsKey,
} from '../../ledger/queue.ts';
import type { Job } from '../../ledger/job.ts';
import type { MachineRecord } from '../../ledger/farm.ts';
import { type Classes, farmClasses, type FarmVolumes, oneClass } from './classes.ts';
import { flowsOf, type QueuedJob } from './flow.ts';
import { giveBackOf } from './give-back.ts';
import { clearRun } from './leftovers.ts';

export interface QueueListeners {
  active(id: string): void;
  progress(id: string, progress: JobProgress): void;
  ended(id: string, how: 'completed' | 'failed', reason: string | null): void;
  /** Every job of a roll's flow has ended. */
  rollEnded(roll: string): void;
  /** A connection broke or came back with an error; commands wait meanwhile. */
  failure(error: Error): void;
}

/** Whose queue it is. */
export interface QueueOwner {
  readonly night: string;
  readonly run: string;
  /** Folder of the delivery, which machines of a farm must have; null: workers of this machine alone take from it. */
  readonly farm: string | null;
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
  | 'waiting-children'
  | 'unknown';

export interface NightQueue {
  add(roll: string, jobs: readonly Omit<QueuedJob, 'queue'>[]): Promise<void>;
  /** The queue of the job's class. */
  queueOf(job: Job): string;
  statesOf(ids: readonly string[]): Promise<Map<string, QueueState>>;
  /** What the queue was told of a job that it calls failed. */
  reasonOf(id: string): Promise<string | null>;
  /** Takes back those that nobody works on; returns their ids. */
  withdraw(ids: readonly string[]): Promise<string[]>;
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

const ADD_FLOWS_AT_ONCE = 4;

export async function openNightQueue(
  address: QueueAddress,
  { night, run, farm, volumes = null }: QueueOwner,
  listeners: QueueListeners,
): Promise<NightQueue> {
  const client = new Redis(redisOptions(address));
  const eventClient = new Redis(redisOptions(address));
  const options = { connection: client, prefix: BULL_PREFIX } as const;
  const flows = new FlowProducer(options);
  const rolls = new Worker(
    rollQueueOf(run),
    async (parent) => {
      listeners.rollEnded((parent.data as { roll: string }).roll);
    },
    { connection: client, prefix: BULL_PREFIX, concurrency: 50, drainDelay: 1, maxStalledCount: 10 },
  );
  // Without a listener an error would end the process.
  const failure = (error: Error): void => listeners.failure(error);
  for (const emitter of [client, eventClient, flows, rolls])
    (emitter as { on(event: 'error', listener: (error: Error) => void): unknown }).on('error', failure);

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
    farm === null ? await oneClass(request) : farmClasses({ ...request, run, delivery: farm, volumes });

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

  /** In which queue each job is that was added. */
  const places = new Map<string, string>();
  const queueOfId = (id: string): Queue | undefined => classes.queue(places.get(id) ?? '');
  let queueing = 0;
  return {
    queueOf: classes.queueOf,
    async add(roll, jobs) {
      queueing += 1;
      await classes.open(jobs.map(({ job }) => job));
      const placed = jobs.map((one) => ({
        ...one,
        job: classes.portable(one.job),
        queue: classes.queueOf(one.job),
      }));
      for (const { id, queue } of placed) places.set(id, queue);
      const list = flowsOf(run, roll, placed, String(queueing));
      for (let start = 0; start < list.length; start += ADD_FLOWS_AT_ONCE)
        await flows.addBulk(list.slice(start, start + ADD_FLOWS_AT_ONCE));
    },
    async statesOf(ids) {
      const states = new Map<string, QueueState>();
      for (let start = 0; start < ids.length; start += 1_000) {
        const part = ids.slice(start, start + 1_000);
        const found = await Promise.all(
          part.map(async (id) => (await queueOfId(id)?.getJobState(id)) ?? 'unknown'),
        );
        for (const [index, id] of part.entries()) states.set(id, found[index] as QueueState);
      }
      return states;
    },
    async reasonOf(id) {
      return (await queueOfId(id)?.getJob(id))?.failedReason ?? null;
    },
    async withdraw(ids) {
      const taken = await Promise.all(
        ids.map(async (id) => {
          // 0: a worker holds it. 1: it is gone, or was not there.
          const removed = await queueOfId(id)?.remove(id);
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
      await Promise.allSettled([rolls.close(true), classes.close(), flows.close()]);
      client.disconnect();
      eventClient.disconnect();
    },
  };
}
