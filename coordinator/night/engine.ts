/** Store, queue and workers of one run: begun together, ended in order. */
import type { Finding } from '../../findings/finding.ts';
import type { QueueAddress } from '../../ledger/queue.ts';
import type { MediaTools } from '../../process/locate.ts';
import type { Logger } from 'pino';
import type { FarmVolumes } from '../dispatch/classes.ts';
import type { NightQueue } from '../dispatch/night-queue.ts';
import { type PrivateStore, startPrivateStore } from '../store/private.ts';
import { inspectSharedRedis, whyRefusedNow } from '../store/shared.ts';
import { joinFarm, type Member } from '../machine/member.ts';
import { isEnd } from './job-states.ts';
import { LOCAL_LOCKS } from './locks.ts';
import { type Machines, watchMachines } from './machines.ts';
import { hintsTo, type RunEvents } from './run-events.ts';
import { defaultWorkers, startWorkers, type WorkerPool } from './workers.ts';

export interface EngineRequest {
  readonly queue: QueueAddress | null;
  /** On a farm, beside other runs; absent: 1. */
  readonly weight?: number | undefined;
  readonly workFolder: string;
  readonly logFolder: string;
  readonly delivery: string;
  readonly volumes: FarmVolumes | null;
  readonly night: string;
  readonly run: string;
  readonly workers: number | null;
  readonly slots: number | null;
  readonly stallSeconds: number;
  readonly tools: Promise<MediaTools>;
  readonly logger: Logger;
  readonly events: RunEvents;
}

export interface Engine {
  /** Throws before it is open (`ready`). */
  queue(): NightQueue;
  /** The built-in Redis's address; null with a shared queue. */
  readonly privateAddress: QueueAddress | null;
  /** The queue is up, and the programs are there. Rejects with FindingError when they cannot be. */
  readonly ready: Promise<void>;
  /** Starts the workers, once: a run that finds nothing to make needs none. Call it when the engine is ready. */
  startWorkers(): Promise<void>;
  /** Worker processes that take up jobs of these queues; those of other machines are counted with a shared queue. null: could not be asked. */
  workersAtWork(queues: readonly string[]): Promise<number | null>;
  /** Of a farm, once it is ready; null: this machine is alone. */
  readonly machines: Machines | null;
  /** Workers end when what they work on has ended. */
  finishWorkers(): Promise<void>;
  /** `atOnce`: workers still have jobs, which nobody waits for. */
  close(atOnce: boolean): Promise<void>;
}

const ASK_MILLISECONDS = 3_000;

export function startEngine(request: EngineRequest): Engine {
  const { logger, events } = request;
  let queue: NightQueue | undefined;
  let pool: WorkerPool | Member | undefined;
  let machines: Machines | null = null;
  let closing = false;
  /** No worker is started any more. */
  let ending = false;
  const openQueue = (): NightQueue => {
    if (queue === undefined) throw new Error('the queue is used before it is open');
    return queue;
  };
  events.on('job-moved', ({ to }) => {
    if (isEnd(to)) pool?.jobDone();
  });
  events.on('queue-trouble', (error) => logger.info({ error: String(error) }, 'connection to the queue'));
  events.on('queue-back', () => {
    if (request.queue === null) return;
    whyRefusedNow(request.queue).then(
      (found) => found !== null && !closing && lost(found),
      (error: unknown) => logger.warn({ error: String(error) }, 'asking the queue again'),
    );
  });
  const note = (found: Finding): void => void events.emit('note', found);
  const lost = (found: Finding): void => void events.emit('lost', found, false);

  let store: PrivateStore | undefined;
  if (request.queue === null) {
    store = startPrivateStore(request.workFolder, {
      onRestart: (reported) => {
        note(reported);
        events.emit('store-back');
      },
      onLost: lost,
    });
  }

  const address = store?.address ?? (request.queue as QueueAddress);

  const ready = (async () => {
    if (store === undefined) for (const found of await inspectSharedRedis(address)) note(found);
    else await store.ready;
    const { openNightQueue } = await import('../dispatch/night-queue.ts');
    if (closing) return;
    // Known as soon as it is open: when the programs are refused meanwhile, it must still be closed.
    const { night, run, weight } = request;
    const farm = request.queue === null ? null : request.delivery;
    const opened = await openNightQueue(
      address,
      { night, run, farm, weight, volumes: request.volumes },
      hintsTo(events),
    );
    queue = opened;
    if (farm !== null)
      machines = await watchMachines({
        run,
        workFolder: request.workFolder,
        records: opened.machines,
        note,
      });
    await request.tools;
  })();
  // Whoever awaits `ready` is reported.
  ready.catch(() => undefined);

  const workersAtWork = async (queues: readonly string[]): Promise<number | null> => {
    if (machines === null) return request.queue === null ? (pool?.alive ?? 0) : null;
    try {
      await within(ASK_MILLISECONDS, machines.look());
    } catch {
      return null;
    }
    return machines.workersFor(queues);
  };

  const onAllGone = (reported: Finding): void => {
    // With a shared queue other machines' workers may go on.
    const others = async (): Promise<number> =>
      machines === null ? 0 : (await openQueue().machines()).reduce((sum, { workers }) => sum + workers, 0);
    within(ASK_MILLISECONDS, others()).then(
      (count) => (count === 0 ? lost(reported) : note(reported)),
      () => lost(reported),
    );
  };
  const begin = async (): Promise<void> => {
    const tools = await request.tools;
    const count = request.workers ?? defaultWorkers();
    if (count === 0 || ending || pool !== undefined) return;
    const { slots, logFolder, stallSeconds } = request;
    const told = (message: string, fields: Record<string, unknown>): void => logger.info(fields, message);
    if (request.queue !== null) {
      pool = joinFarm(
        {
          address,
          tools: { ffmpeg: tools.ffmpeg.path, ffprobe: tools.ffprobe.path },
          mounts: request.volumes?.mounts ?? null,
          pool: { count, slots, logFolder, stallSeconds },
        },
        // The run sees this machine as it sees the others: by its record.
        { onDeath: note, onAllGone, onStanding: () => undefined, log: told },
      );
      return;
    }
    pool = startWorkers(
      {
        count,
        slots,
        logFolder,
        setup: {
          queue: address,
          ffmpeg: tools.ffmpeg.path,
          ffprobe: tools.ffprobe.path,
          stallSeconds,
          farm: false,
          mounts: request.volumes === null ? null : [...request.volumes.mounts],
          ...LOCAL_LOCKS,
        },
      },
      {
        onDeath: note,
        onLost: (id) => {
          openQueue()
            .giveBack(id)
            .then(
              (job) => job !== null && told('given back: its worker has ended', { job }),
              // Its lock runs out.
              (error: unknown) => told('a job was not given back', { error: String(error) }),
            );
        },
        onAllGone,
      },
    );
  };

  events.on('stop-now', () => {
    ending = true;
    const failed = (error: unknown): void => logger.warn({ error: String(error) }, 'stopping');
    if (queue !== undefined) within(ASK_MILLISECONDS, queue.cancelAll()).catch(failed);
    pool?.stopNow().catch(failed);
  });

  return {
    queue: openQueue,
    ready,
    startWorkers: begin,
    privateAddress: store?.address ?? null,
    workersAtWork,
    get machines() {
      return machines;
    },
    async finishWorkers() {
      ending = true;
      await pool?.finish();
    },
    async close(atOnce) {
      closing = true;
      ending = true;
      await ready.catch(() => undefined);
      const step = async (name: string, act: () => Promise<unknown> | undefined): Promise<void> => {
        try {
          await act();
        } catch (error) {
          // Every step is tried; what is left in a shared queue is removed by the next run.
          logger.warn({ error: String(error) }, `closing: ${name}`);
        }
      };
      await step('workers', () => (atOnce ? pool?.stopNow() : pool?.finish()));
      if (store === undefined)
        await step('clear', () => (queue === undefined ? undefined : within(60_000, queue.clear())));
      await step('queue', () => (queue === undefined ? undefined : within(ASK_MILLISECONDS, queue.close())));
      await step('store', () => store?.stop());
    },
  };
}

/** A store that is away lets every command wait; some questions must not. */
function within<Value>(milliseconds: number, promise: Promise<Value>): Promise<Value> {
  let timer: NodeJS.Timeout | undefined;
  const late = new Promise<never>((_, reject) => {
    timer = setTimeout(
      () => reject(new Error(`no answer from the queue within ${milliseconds / 1000} s`)),
      milliseconds,
    );
  });
  return Promise.race([promise, late]).finally(() => clearTimeout(timer));
}
