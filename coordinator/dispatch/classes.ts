/** The queues that a run's jobs lie in: one on a single machine; on a farm one for each class, posted for its machines. */
import { Queue, QueueEvents } from 'bullmq';
import type { Redis } from 'ioredis';
import {
  type ClassNeed,
  classQueue,
  machineKey,
  MACHINES_KEY,
  type MachineRecord,
  type Posting,
  POSTINGS_KEY,
  readMachines,
  readPostings,
} from '../../ledger/farm.ts';
import { BULL_PREFIX, JOB_QUEUE } from '../../ledger/queue.ts';
import { SHARES_KEY } from '../../ledger/shares.ts';
import type { Ticket } from '../../ledger/ticket.ts';
import { type Mount, portablePath, portableTicket, toVolume, type Volume } from '../../ledger/volumes.ts';

interface ClassesRequest {
  readonly client: Redis;
  readonly eventClient: Redis;
  readonly onEvents: (events: QueueEvents) => void;
  readonly onError: (error: Error) => void;
}

export interface Classes {
  /** The job as it is sent. */
  portable(ticket: Ticket): Ticket;
  queueOf(need: ClassNeed): string;
  /** Before jobs of these rolls are added to it: the queue is heard, and posted. `rollFolders`: with the paths of this machine. */
  open(queue: string, rollFolders: readonly string[]): Promise<Queue>;
  /** Opened; undefined: no such queue. */
  queue(name: string): Queue | undefined;
  names(): string[];
  /** Posts again what the store may have forgotten. */
  post(): Promise<void>;
  takeDown(): Promise<void>;
  /** Of any run that may have left something. */
  queuesOf(run: string): Promise<string[]>;
  machines(): Promise<MachineRecord[]>;
  close(): Promise<void>;
}

interface Opened {
  readonly queue: Queue;
  readonly events: QueueEvents;
}

async function openQueue(name: string, request: ClassesRequest): Promise<Opened> {
  const { client, eventClient, onEvents, onError } = request;
  const queue = new Queue(name, { connection: client, prefix: BULL_PREFIX });
  const events = new QueueEvents(name, { connection: eventClient, prefix: BULL_PREFIX });
  queue.on('error', onError);
  events.on('error', onError);
  onEvents(events);
  await events.waitUntilReady();
  return { queue, events };
}

async function closeAll(opened: Iterable<Opened>): Promise<void> {
  await Promise.allSettled([...opened].flatMap(({ queue, events }) => [events.close(), queue.close()]));
}

export async function oneClass(
  request: ClassesRequest & { readonly volumes: FarmVolumes | null },
): Promise<Classes> {
  const mounts = request.volumes?.mounts ?? null;
  const only = await openQueue(JOB_QUEUE, request);
  return {
    portable: (ticket) => (mounts === null ? ticket : portableTicket(ticket, mounts)),
    queueOf: () => JOB_QUEUE,
    open: async () => only.queue,
    queue: () => only.queue,
    names: () => [JOB_QUEUE],
    post: async () => undefined,
    takeDown: async () => undefined,
    queuesOf: async () => [JOB_QUEUE],
    machines: async () => [],
    close: () => closeAll([only]),
  };
}

/** Volumes of the run, and where this machine has them. */
export interface FarmVolumes {
  readonly mounts: readonly Mount[];
  readonly volumes: readonly Volume[];
}

interface FarmRequest extends ClassesRequest {
  readonly run: string;
  /** Beside other runs. */
  readonly weight: number;
  /** Folder of the delivery. */
  readonly delivery: string;
  readonly volumes: FarmVolumes | null;
}

export function farmClasses(request: FarmRequest): Classes {
  const { client, run, weight, volumes } = request;
  const mounts = volumes?.mounts ?? null;
  const delivery =
    volumes === null ? request.delivery : (toVolume(volumes.mounts, request.delivery) ?? request.delivery);
  const opened = new Map<string, Opened>();
  const postings = new Map<string, Posting>();
  const needs = new Map<string, ClassNeed>();
  /** Jobs of a roll share what they need. */
  const known = new WeakMap<ClassNeed, string>();
  const queueOf = (need: ClassNeed): string => {
    const before = known.get(need);
    if (before !== undefined) return before;
    const sent = mounts === null ? need : { ...need, source: portablePath(need.source, mounts) };
    const queue = classQueue(run, sent);
    needs.set(queue, sent);
    known.set(need, queue);
    return queue;
  };
  const open = async (queue: string, rollFolders: readonly string[]): Promise<Queue> => {
    const need = needs.get(queue);
    if (need === undefined) throw new RangeError(`no class has the queue ${queue}`);
    const posted = postings.get(queue)?.rolls ?? [];
    const sent = mounts === null ? rollFolders : rollFolders.map((path) => portablePath(path, mounts));
    const rolls = [...new Set([...posted, ...sent])];
    if (rolls.length > posted.length) {
      const { source, toolchain, decoders, wave } = need;
      postings.set(queue, {
        ...{ version: 0, queue, run, weight, delivery, source, rolls, toolchain, wave },
        decoders: [...decoders],
        volumes: [...(volumes?.volumes ?? [])],
      });
    }
    const before = opened.get(queue);
    if (before === undefined) opened.set(queue, await openQueue(queue, request));
    if (before === undefined || rolls.length > posted.length) await post();
    return (opened.get(queue) as Opened).queue;
  };

  const post = async (): Promise<void> => {
    if (postings.size === 0) return;
    const texts = [...postings.values()].map((posting) => [posting.queue, JSON.stringify(posting)]);
    await client.hset(POSTINGS_KEY, Object.fromEntries(texts) as Record<string, string>);
  };
  return {
    portable: (ticket) => (mounts === null ? ticket : portableTicket(ticket, mounts)),
    queueOf,
    open,
    queue: (name) => opened.get(name)?.queue,
    names: () => [...opened.keys()],
    post,
    async takeDown() {
      if (postings.size > 0) await client.hdel(POSTINGS_KEY, ...postings.keys());
      await client.hdel(SHARES_KEY, run);
    },
    async queuesOf(other) {
      const texts = await client.hgetall(POSTINGS_KEY);
      const posted = readPostings(texts).filter((posting) => posting.run === other);
      if (posted.length > 0 && other !== run)
        await client.hdel(POSTINGS_KEY, ...posted.map(({ queue }) => queue));
      if (other !== run) await client.hdel(SHARES_KEY, other);
      const own = other === run ? [...opened.keys()] : [];
      return [...new Set([...own, ...posted.map(({ queue }) => queue)])];
    },
    async machines() {
      const owners = await client.smembers(MACHINES_KEY);
      if (owners.length === 0) return [];
      const texts = await client.mget(owners.map(machineKey));
      const gone = owners.filter((_, index) => texts[index] === null);
      if (gone.length > 0) await client.srem(MACHINES_KEY, ...gone);
      return readMachines(texts);
    },
    close: () => closeAll(opened.values()),
  };
}
