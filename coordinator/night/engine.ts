/** Store, queue, workers and the making of one run: begun together, ended in order. */
import type { Finding } from '../../findings/finding.ts';
import type { Job } from '../../ledger/job.ts';
import type { JobProgress, QueueAddress } from '../../ledger/queue.ts';
import type { MediaTools } from '../../process/locate.ts';
import type { Logger } from 'pino';
import type { NightQueue } from '../dispatch/night-queue.ts';
import { type PrivateStore, startPrivateStore } from '../store/private.ts';
import { inspectStanding } from '../store/standing.ts';
import { type Making, startMaking } from './making.ts';
import { defaultWorkers, startWorkers, type WorkerPool } from './workers.ts';

export interface EngineRequest {
  readonly queue: QueueAddress | null;
  readonly workFolder: string;
  readonly logFolder: string;
  readonly night: string;
  readonly run: string;
  readonly workers: number | null;
  readonly slots: number | null;
  readonly stallSeconds: number;
  readonly tools: Promise<MediaTools>;
  readonly logger: Logger;
}

export interface EngineEvents {
  progress(job: Job, progress: JobProgress): void;
  over(job: Job): void;
  placeTrouble(told: Finding): void;
  targetWell(): Promise<boolean>;
  superseded(): void;
  /** Passes by itself. */
  note(told: Finding): void;
  /** The night cannot go on. */
  lost(told: Finding): void;
}

export interface Engine {
  readonly making: Making;
  /** The private store's address; null with a standing queue. */
  readonly privateAddress: QueueAddress | null;
  /** Queue and workers are up. Rejects with FindingError when they cannot be. */
  readonly ready: Promise<void>;
  /** Worker processes that take up jobs now; those of other machines are counted with a standing queue. null: could not be asked. */
  workersAtWork(): Promise<number | null>;
  /** Begins nothing new; resolves when what ran has ended. */
  finish(told: Finding): Promise<void>;
  /** Ends everything that works for this run now. */
  stopNow(told: Finding): Promise<void>;
  close(): Promise<void>;
}

/** On one machine a dead worker's job is taken up again within seconds; over a network a short outage must not look like a death. */
const LOCAL_LOCKS = { lockMilliseconds: 15_000, stalledMilliseconds: 5_000 };
export const FARM_LOCKS = { lockMilliseconds: 60_000, stalledMilliseconds: 15_000 };
const ASK_MILLISECONDS = 3_000;

export function startEngine(request: EngineRequest, events: EngineEvents): Engine {
  const { logger } = request;
  let queue: NightQueue | undefined;
  let pool: WorkerPool | undefined;
  let closing = false;
  const openQueue = (): NightQueue => {
    if (queue === undefined) throw new Error('the queue is used before it is open');
    return queue;
  };
  const making = startMaking(request.run, openQueue, {
    progress: events.progress,
    over: (job) => {
      pool?.jobDone();
      events.over(job);
    },
    placeTrouble: events.placeTrouble,
    targetWell: events.targetWell,
    superseded: events.superseded,
    log: (message, fields) => logger.info(fields, message),
  });

  let store: PrivateStore | undefined;
  if (request.queue === null) {
    store = startPrivateStore(request.workFolder, {
      onRestart: (told) => {
        events.note(told);
        making
          .sweep()
          .catch((error: unknown) =>
            logger.warn({ error: String(error) }, 'sweep after the store came back'),
          );
      },
      onLost: events.lost,
    });
  }

  const ready = (async () => {
    let address: QueueAddress;
    if (store === undefined) {
      address = request.queue as QueueAddress;
      for (const note of await inspectStanding(address)) events.note(note);
    } else {
      address = store.address;
      await store.ready;
    }
    const { openNightQueue } = await import('../dispatch/night-queue.ts');
    if (closing) return;
    // Known as soon as it is open: when the programs are refused meanwhile, it must still be closed.
    queue = await openNightQueue(address, request.night, request.run, making.hints);
    const tools = await request.tools;
    const count = request.workers ?? defaultWorkers();
    if (count === 0 || closing) return;
    pool = startWorkers(
      {
        count,
        slots: request.slots,
        logFolder: request.logFolder,
        setup: {
          queue: address,
          ffmpeg: tools.ffmpeg.path,
          ffprobe: tools.ffprobe.path,
          stallSeconds: request.stallSeconds,
          ...(request.queue === null ? LOCAL_LOCKS : FARM_LOCKS),
        },
      },
      {
        onDeath: events.note,
        onAllGone: (told) => {
          // With a standing queue other machines' workers may go on.
          workersAtWork().then(
            (others) => (others === null || others === 0 ? events.lost(told) : events.note(told)),
            () => events.lost(told),
          );
        },
      },
    );
  })();
  // Whoever awaits `ready` is told.
  ready.catch(() => undefined);

  const workersAtWork = async (): Promise<number | null> => {
    if (request.queue === null) return pool?.alive ?? 0;
    return await within(ASK_MILLISECONDS, openQueue().workers()).catch(() => null);
  };

  return {
    making,
    ready,
    privateAddress: store?.address ?? null,
    workersAtWork,
    async finish(told) {
      // Both at once: a worker that is told to end may otherwise take one more job while the queue is emptied.
      await Promise.all([making.finish(told), pool?.finish()]);
    },
    async stopNow(told) {
      making.giveUp(told);
      const steps = await Promise.allSettled([
        queue === undefined ? undefined : within(ASK_MILLISECONDS, queue.cancelAll()),
        pool?.stopNow(),
      ]);
      for (const step of steps)
        if (step.status === 'rejected') logger.warn({ error: String(step.reason) }, 'stopping');
    },
    async close() {
      closing = true;
      await ready.catch(() => undefined);
      const step = async (name: string, act: () => Promise<unknown> | undefined): Promise<void> => {
        try {
          await act();
        } catch (error) {
          // Every step is tried; what is left in a standing queue is removed by the next run.
          logger.warn({ error: String(error) }, `closing: ${name}`);
        }
      };
      await step('workers', () => (making.active > 0 ? pool?.stopNow() : pool?.finish()));
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
