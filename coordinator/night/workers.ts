/**
 * The workers of this machine: processes of their own, started again when they die. A worker that dies again and again
 * without a single job done in between is given up; when all are, the night is reported.
 */
import { type ChildProcess, spawn } from 'node:child_process';
import { randomUUID } from 'node:crypto';
import { closeSync, mkdirSync, openSync } from 'node:fs';
import { availableParallelism, totalmem } from 'node:os';
import { join } from 'node:path';
import { type Finding, finding } from '../../findings/finding.ts';
import { type FromWorker, fromWorkerSchema, type ToWorker } from '../../ledger/farm.ts';
import { WORKER_VARIABLE, type WorkerSetup } from '../../ledger/queue.ts';
import { programFile } from '../../files/installation.ts';

export interface WorkerPool {
  /** Takes no new job, ends what runs; resolves when all are gone. */
  finish(): Promise<void>;
  /** Ends them now; resolves when all are gone. */
  stopNow(): Promise<void>;
  /** A job was done: whatever deaths there were before, workers are of use. */
  readonly jobDone: () => void;
  readonly alive: number;
  /** Of a farm: which queues they take from, from now on. */
  tell(queues: ToWorker['queues']): void;
}

export interface PoolEvents {
  onDeath(reported: Finding): void;
  /** The process of this setup's `id` has ended, and nobody asked it to: what it held is nobody's. */
  onLost(id: string): void;
  onAllGone(reported: Finding): void;
  /** Of a farm: what became of a job that one of them had. */
  onWord?(word: FromWorker): void;
}

export interface PoolRequest {
  readonly count: number;
  /** Jobs that each runs side by side; null: as many as its share of cores and memory allows. */
  readonly slots: number | null;
  readonly setup: Omit<WorkerSetup, 'name' | 'id' | 'logFile' | 'threads' | 'slots' | 'version'>;
  readonly logFolder: string;
  /** The program; the compiled worker unless a test says otherwise. */
  readonly program?: string;
}

const CPU_A_WORKER = 4;
/** One job: an encoder with its decoders and filters at large rasters, measured generously. */
const BYTES_A_JOB = 2 * 1024 ** 3;
/** A second job fills the gaps of the first (program starts, checks, publishing); a third only makes both slower. */
const MOST_SLOTS = 2;
const DEATHS_WITHOUT_A_JOB = 5;
/** Who lived this long did not die of its start. */
const LONG_LIFE_MILLISECONDS = 600_000;
const STOP_MILLISECONDS = 10_000;

/** One encoder uses several cores well and a few gigabytes at most with 8K sources. */
export function defaultWorkers(cores = availableParallelism(), memoryBytes = totalmem()): number {
  return Math.max(1, Math.min(Math.floor(cores / CPU_A_WORKER), Math.floor(memoryBytes / BYTES_A_JOB)));
}

export function defaultSlots(
  workers: number,
  cores = availableParallelism(),
  memoryBytes = totalmem(),
): number {
  return Math.max(
    1,
    Math.min(MOST_SLOTS, Math.floor(cores / workers), Math.floor(memoryBytes / workers / BYTES_A_JOB)),
  );
}

interface Slot {
  readonly name: string;
  child: ChildProcess | null;
  /** Jobs that it said it gave back. */
  givenBack: number;
  startedAt: number;
  deaths: number;
  givenUp: boolean;
  again: NodeJS.Timeout | null;
}

export function startWorkers(request: PoolRequest, events: PoolEvents): WorkerPool {
  mkdirSync(request.logFolder, { recursive: true, mode: 0o700 });
  const jobsAtOnce = request.slots ?? defaultSlots(request.count);
  const threads = Math.max(1, Math.floor(availableParallelism() / (request.count * jobsAtOnce)));
  const slots: Slot[] = Array.from({ length: request.count }, (_, index) => ({
    name: `local-${index + 1}`,
    child: null,
    givenBack: 0,
    startedAt: 0,
    deaths: 0,
    givenUp: false,
    again: null,
  }));
  let ending = false;
  const waiting: (() => void)[] = [];
  let takes: ToWorker['queues'] = [];
  const sendTakes = (slot: Slot): void => {
    if (slot.child?.connected !== true) return;
    const word: ToWorker = { kind: 'takes', queues: [...takes], read: slot.givenBack };
    // One that is just ending does not read it.
    slot.child.send(word, () => undefined);
  };

  const alive = (): number => slots.filter((slot) => slot.child !== null).length;
  const gone = (): void => {
    if (alive() > 0) return;
    for (const resolve of waiting.splice(0)) resolve();
  };

  const start = (slot: Slot): void => {
    slot.again = null;
    if (ending) return;
    const setup: WorkerSetup = {
      ...request.setup,
      version: 0,
      name: slot.name,
      id: randomUUID(),
      threads,
      slots: jobsAtOnce,
      logFile: join(request.logFolder, `${slot.name}.log`),
    };
    const output = openSync(join(request.logFolder, `${slot.name}.out`), 'a', 0o600);
    const child = spawn(process.execPath, [request.program ?? programFile('worker/main.js')], {
      // stdin is a pipe that we hold: its end shows the worker that we are gone. A group of its own: Ctrl-C is ours to translate.
      stdio: request.setup.farm ? ['pipe', output, output, 'ipc'] : ['pipe', output, output],
      detached: true,
      env: { ...process.env, [WORKER_VARIABLE]: JSON.stringify(setup) },
    });
    closeSync(output);
    slot.child = child;
    slot.startedAt = performance.now();
    slot.givenBack = 0;
    child.on('message', (message: unknown) => {
      const word = fromWorkerSchema.safeParse(message);
      if (!word.success) return;
      if (word.data.kind === 'given-back') slot.givenBack += 1;
      events.onWord?.(word.data);
    });
    sendTakes(slot);
    // A worker that is gone cannot read; its exit is what counts.
    child.stdin?.on('error', () => undefined);
    let over = false;
    const onEnd = (what: string): void => {
      if (over) return;
      over = true;
      slot.child = null;
      if (!ending) {
        events.onLost(setup.id);
        died(slot, what);
      }
      gone();
    };
    child.once('error', (error) => onEnd(error.message));
    child.once('exit', (code, signal) => onEnd(signal === null ? `exit code ${code}` : `signal ${signal}`));
  };

  const died = (slot: Slot, what: string): void => {
    if (performance.now() - slot.startedAt > LONG_LIFE_MILLISECONDS) slot.deaths = 0;
    slot.deaths += 1;
    const subject = { file: slot.name };
    if (slot.deaths >= DEATHS_WITHOUT_A_JOB) {
      slot.givenUp = true;
      if (slots.every((other) => other.givenUp))
        events.onAllGone(
          finding(
            'workers-gone',
            `${what}, ${slot.deaths} times without finishing a job`,
            'a worker that works',
            subject,
          ),
        );
      return;
    }
    events.onDeath(finding('worker-died', what, 'a worker that works until it is asked to end', subject));
    slot.again = setTimeout(() => start(slot), Math.min(250 * 2 ** (slot.deaths - 1), 10_000));
  };

  const signalAll = (signal: NodeJS.Signals): void => {
    ending = true;
    for (const slot of slots) {
      if (slot.again !== null) clearTimeout(slot.again);
      slot.child?.kill(signal);
    }
  };
  const allGone = (): Promise<void> =>
    new Promise((resolve) => {
      waiting.push(resolve);
      gone();
    });

  for (const slot of slots) start(slot);
  return {
    finish: async () => {
      signalAll('SIGTERM');
      await allGone();
    },
    stopNow: async () => {
      signalAll('SIGINT');
      const timer = setTimeout(() => signalAll('SIGKILL'), STOP_MILLISECONDS);
      await allGone();
      clearTimeout(timer);
    },
    jobDone: () => {
      for (const slot of slots) slot.deaths = 0;
    },
    tell: (queues) => {
      takes = queues;
      for (const slot of slots) sendTakes(slot);
    },
    get alive() {
      return alive();
    },
  };
}
