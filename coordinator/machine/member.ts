/** A machine as part of a farm: it proves itself, its workers take what it is fit for, and what a dead one held is given back at once. */
import { Redis } from 'ioredis';
import type { Finding } from '../../findings/finding.ts';
import { POSTINGS_KEY, readPostings, type ToWorker } from '../../ledger/farm.ts';
import { type QueueAddress, redisOptions } from '../../ledger/queue.ts';
import type { Mount } from '../../ledger/volumes.ts';
import { giveBackOf } from '../dispatch/give-back.ts';
import { FARM_LOCKS } from '../night/locks.ts';
import { defaultSlots, startWorkers, type WorkerPool } from '../night/workers.ts';
import type { ToolPlaces } from './proof.ts';
import { startProver } from './prover.ts';
import type { ClassStanding } from './standing.ts';

export interface MemberRequest {
  readonly address: QueueAddress;
  readonly tools: ToolPlaces;
  /** null: this machine has the paths of the runs. */
  readonly mounts: readonly Mount[] | null;
  readonly pool: {
    readonly count: number;
    readonly slots: number | null;
    readonly logFolder: string;
    readonly stallSeconds: number;
  };
}

export interface MemberEvents {
  onDeath(reported: Finding): void;
  onAllGone(reported: Finding): void;
  onStanding(standing: ClassStanding): void;
  log(message: string, fields: Record<string, unknown>): void;
}

export interface Member {
  /** A job was done: whatever deaths there were before, workers are of use. */
  jobDone(): void;
  readonly alive: number;
  /** Takes no new job, ends what runs; resolves when all are gone. */
  finish(): Promise<void>;
  stopNow(): Promise<void>;
}

export function joinFarm(request: MemberRequest, events: MemberEvents): Member {
  const {
    address,
    pool: { stallSeconds, ...shape },
  } = request;
  let pool: WorkerPool | undefined;
  let takes: ToWorker['queues'] = [];
  let ending = false;
  const prover = startProver({
    address,
    tools: request.tools,
    mounts: request.mounts,
    workers: () => pool?.alive ?? 0,
    slots: () => (pool === undefined ? 0 : (shape.slots ?? defaultSlots(shape.count)) * pool.alive),
    onTakes: (queues) => {
      takes = queues;
      pool?.tell(queues);
    },
    // Only with programs that answer: until then there is nobody to take a job.
    onTools: ({ ffmpeg, ffprobe }) => {
      if (ending || shape.count === 0) return;
      pool = startWorkers(
        {
          ...shape,
          setup: {
            queue: address,
            ffmpeg: ffmpeg.path,
            ffprobe: ffprobe.path,
            stallSeconds,
            farm: true,
            mounts: request.mounts === null ? null : [...request.mounts],
            ...FARM_LOCKS,
          },
        },
        {
          onDeath: events.onDeath,
          onAllGone: events.onAllGone,
          onLost: (id) => {
            giveBack(address, id).then(
              (job) => job !== null && events.log('given back: its worker has ended', { job }),
              // Its lock runs out.
              (error: unknown) => events.log('a job was not given back', { error: String(error) }),
            );
          },
          onWord: (word) => {
            if (word.kind === 'given-back') prover.givenBack(word.queue, word.finding);
            else {
              pool?.jobDone();
              prover.done(word.queue);
            }
          },
        },
      );
      pool.tell(takes);
    },
    onStanding: events.onStanding,
    onRefused: events.onDeath,
    log: events.log,
  });
  return {
    jobDone: () => pool?.jobDone(),
    get alive() {
      return pool?.alive ?? 0;
    },
    async finish() {
      ending = true;
      await Promise.all([pool?.finish(), prover.close()]);
    },
    async stopNow() {
      ending = true;
      await Promise.all([pool?.stopNow(), prover.close()]);
    },
  };
}

async function giveBack(address: QueueAddress, worker: string): Promise<string | null> {
  const client = new Redis(redisOptions(address));
  client.on('error', () => undefined);
  try {
    const postings = readPostings(await client.hgetall(POSTINGS_KEY));
    return await giveBackOf(
      client,
      worker,
      postings.map(({ queue }) => queue),
    );
  } finally {
    client.disconnect();
  }
}
