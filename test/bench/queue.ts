/**
 * The queue's own cost: jobs through it from their parts to their end, with workers that ask and tell what a real one does and
 * write a report instead of making anything. The coordinator's side is a process of its own.
 */
import { spawn } from 'node:child_process';
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { monitorEventLoopDelay } from 'node:perf_hooks';
import { Redis } from 'ioredis';
import { openNightQueue } from '../../coordinator/dispatch/night-queue.ts';
import { startForecasting } from '../../coordinator/night/forecasting.ts';
import { isEnd } from '../../coordinator/night/job-states.ts';
import { newRunProgress } from '../../coordinator/progress/run-progress.ts';
import { startJobTracker } from '../../coordinator/night/job-tracker.ts';
import { type Work, Works } from '../../coordinator/night/work.ts';
import { hintsTo, newRunEvents } from '../../coordinator/night/run-events.ts';
import type { Job } from '../../ledger/job.ts';
import { PartKeeper } from '../../ledger/job-parts.ts';
import { layout } from '../../ledger/layout.ts';
import { cancelKey, JOB_QUEUE, nightKey, type QueueAddress, redisOptions } from '../../ledger/queue.ts';
import { ticketSchema } from '../../ledger/ticket.ts';
import { keepHeapSmall } from '../../process/heap.ts';
import { runForOutput } from '../../process/run.ts';
import { startTaking } from '../../worker/taking.ts';
import { jobOf } from '../support/jobs.ts';
import { sharedRedis } from '../support/redis.ts';
import { report } from '../support/world.ts';
import type { BenchLine } from './line.ts';

const RUN = 'bench-run';
const ROLL_CLIPS = 500;
const WORKERS = 2;
const SLOTS = 4;
const LOCK = 60_000;

const PROFILE_HASH = 'hash-cut';
const MACHINE = 'bench-machine';
/** As often as a run writes how it stands. */
const TOLD_MILLISECONDS = 2_000;
/** What a forecast is learned from. */
const SPENT = {
  machine: MACHINE,
  waited: 0.01,
  beside: WORKERS * SLOTS - 1,
  claim: 0.1,
  make: 60,
  check: 10,
  publish: 1,
  job: 72,
};

const rollName = (index: number): string => `R${String(index).padStart(3, '0')}`;

/** Jobs of a roll share what they share in a plan: its names and folders, and the profile's hash. */
function jobIn(number: number, roll: string, deliveryFolder: string): Job {
  const job = jobOf(number, RUN);
  const deliverables = job.deliverables.map((work) => ({ ...work, profileHash: PROFILE_HASH }));
  return { ...job, roll, deliveryFolder, deliverables };
}

/** Answers every job with a report, as a worker process of the bench; ends when its parent does. */
export async function answerJobs(address: QueueAddress): Promise<void> {
  const redis = new Redis(redisOptions(address));
  const isWanted = (): Promise<unknown> =>
    Promise.all([redis.get(nightKey('night')), redis.exists(cancelKey(RUN))]);
  startTaking({
    redis,
    slots: SLOTS,
    lockMilliseconds: LOCK,
    stalledMilliseconds: LOCK,
    stallsAllowed: 10,
    restMilliseconds: 50,
    log: () => undefined,
    work: async (queued, token) => {
      const { clip, deliveryFolder } = ticketSchema.parse(queued.data);
      // Before it begins, with each word that it says, and before it publishes.
      await isWanted();
      for (const phase of ['make', 'check', 'publish'] as const) {
        await queued.updateProgress({ phase, frames: 24, total: 24, framesPerSecond: 24 });
        await isWanted();
      }
      await queued.extendLock(token, LOCK);
      writeReport(jobOf(Number(clip.id.slice(5)), RUN), deliveryFolder);
    },
  }).tell([{ queue: JOB_QUEUE, run: null, weight: 1 }]);
  process.stdin.resume().on('end', () => process.exit(0));
  await new Promise(() => undefined);
}

function writeReport({ clip, deliverables }: Job, folder: string): void {
  for (const { profile, profileHash } of deliverables) {
    const made = { ...report(clip, profile.name, profileHash), run: RUN, spent: SPENT };
    const file = join(folder, made.file?.path ?? '');
    const place = layout.deliverableReport(folder, clip.id, profile.name);
    for (const path of [file, place]) mkdirSync(dirname(path), { recursive: true });
    writeFileSync(file, Buffer.alloc(made.file?.bytes ?? 0));
    writeFileSync(place, JSON.stringify(made));
  }
}

interface QueueRequest {
  readonly address: QueueAddress;
  readonly delivery: string;
  readonly jobs: number;
}
interface Measured {
  /** Processor time, milliseconds. */
  readonly milliseconds: number;
  readonly peakMegabytes: number;
  readonly largestJob: number;
  /** The longest time for which the coordinator heard nobody, milliseconds. */
  readonly longestBlock: number;
  /** How often it said when rolls will be ready. */
  readonly forecasts: number;
  readonly whole: boolean;
}

/** Prints what it measured: the coordinator's side, from the parts of the jobs to the last report that was read. */
export async function measureCoordinator({ address, delivery, jobs }: QueueRequest): Promise<void> {
  const before = process.cpuUsage();
  // As a run does.
  keepHeapSmall();
  const events = newRunEvents();
  const queue = await openNightQueue(address, { night: 'night', run: RUN, farm: null }, hintsTo(events));
  const nothing = (): void => undefined;
  const tracker = startJobTracker({
    run: RUN,
    queue: () => queue,
    events,
    isTargetHealthy: async () => true,
    slotsFor: () => WORKERS * SLOTS,
    log: nothing,
  });
  const timer = setInterval(() => tracker.reconcile().catch(nothing), 5_000);
  process.env.XDG_STATE_HOME = join(delivery, 'state');
  const names = Array.from({ length: Math.ceil(jobs / ROLL_CLIPS) }, (_, index) => rollName(index));
  const runProgress = newRunProgress(names);
  const forecasting = await startForecasting({
    run: RUN,
    events,
    machines: () => [{ id: MACHINE, slots: WORKERS * SLOTS }],
    runProgress,
    dues: { timeZone: 'UTC', of: () => null },
    log: nothing,
  });
  events.on('job-progress', runProgress.progress);
  events.on('job-moved', ({ job, to }) => void (isEnd(to) && runProgress.over(job)));
  let forecasts = 0;
  const telling = setInterval(() => {
    runProgress.rolls();
    if (forecasting.now()?.rolls.some(({ left }) => left !== null) === true) forecasts += 1;
  }, TOLD_MILLISECONDS);
  const delay = monitorEventLoopDelay({ resolution: 10 });
  delay.enable();
  let largestJob = 0;
  const making: Promise<unknown>[] = [];
  for (let first = 0; first < jobs; first += ROLL_CLIPS) {
    const work: Work[] = [];
    const roll = rollName(first / ROLL_CLIPS);
    const folder = join(delivery, 'day-03', roll);
    const keeper = new PartKeeper(folder);
    const works = new Works();
    const planned: { job: Job; seconds: number }[] = [];
    for (let place = 0; place < Math.min(ROLL_CLIPS, jobs - first); place += 1) {
      const job = jobIn(first + place, roll, folder);
      const seconds = 60 + ((first + place) % 30);
      const one = works.add(job, place, seconds);
      await keeper.keep(one.parts);
      planned.push({ job, seconds });
      largestJob = Math.max(largestJob, JSON.stringify(one.work.ticket).length);
      work.push(one.work);
    }
    const rank = { first: null, due: null, place: first };
    forecasting.add(rank, planned);
    runProgress.making(
      roll,
      planned.map(({ job }) => job),
    );
    runProgress.setPhase(roll, 'making');
    making.push(
      tracker.make({ name: roll, rank }, work).then(async (given) => {
        // As many rolls as a hundred thousand clips have fill a disk. Not at once: it would be counted as the coordinator's silence.
        await rm(folder, { recursive: true, force: true });
        return given.length;
      }),
    );
  }
  const given = (await Promise.all(making)) as number[];
  clearInterval(timer);
  clearInterval(telling);
  const { user, system } = process.cpuUsage(before);
  const measured: Measured = {
    milliseconds: (user + system) / 1000,
    peakMegabytes: process.resourceUsage().maxRSS / 1024,
    largestJob,
    longestBlock: delay.max / 1e6,
    forecasts,
    whole: given.every((count) => count === 0) && tracker.unfinished === 0,
  };
  await queue.clear();
  await queue.close();
  process.stdout.write(JSON.stringify(measured));
  process.exit(0);
}

const calls = (name: string, argument: unknown): string[] => [
  '--input-type=module',
  '-e',
  `import { ${name} } from ${JSON.stringify(import.meta.url)}; await ${name}(${JSON.stringify(argument)});`,
];

async function drained(
  jobs: number,
): Promise<Measured & { redisMilliseconds: number; redisMegabytes: number }> {
  const folder = mkdtempSync(join(tmpdir(), 'rushlight-bench-'));
  const store = await sharedRedis();
  const address: QueueAddress = { kind: 'url', url: store.url };
  const field = (info: unknown, name: string): number =>
    Number(new RegExp(`^${name}:(.*?)\\r?$`, 'm').exec(String(info))?.[1]);
  const processor = async (): Promise<number> => {
    const info = await store.ask('INFO', 'cpu');
    return 1000 * (field(info, 'used_cpu_user') + field(info, 'used_cpu_sys'));
  };
  const workers = Array.from({ length: WORKERS }, () =>
    // Its standard input is held open: its end ends the worker.
    spawn(process.execPath, calls('answerJobs', address), { stdio: ['pipe', 'ignore', 'inherit'] }),
  );
  try {
    const before = await processor();
    const request: QueueRequest = { address, delivery: folder, jobs };
    const run = await runForOutput(process.execPath, calls('measureCoordinator', request));
    if (run.exitCode !== 0) throw new Error(run.stderr);
    const measured = JSON.parse(run.stdout.toString('utf8')) as Measured;
    return {
      ...measured,
      redisMilliseconds: (await processor()) - before,
      redisMegabytes: field(await store.ask('INFO', 'memory'), 'used_memory_peak') / 1024 / 1024,
    };
  } finally {
    for (const worker of workers) worker.kill('SIGKILL');
    await store.stop();
    rmSync(folder, { recursive: true, force: true });
  }
}

const JOBS = 3_000;

export async function benchQueue(): Promise<BenchLine[]> {
  const { milliseconds, redisMilliseconds, largestJob, whole } = await drained(JOBS);
  const store = redisMilliseconds / JOBS;
  const own = milliseconds / JOBS;
  return [
    {
      name: `${JOBS} jobs through the queue: processor time of Redis`,
      measured: `${store.toFixed(2)} ms a job${whole ? '' : ', and jobs were left'}`,
      target: 'under 1 ms a job',
      passed: whole && store < 1,
    },
    {
      name: 'the same: of the coordinator',
      measured: `${own.toFixed(2)} ms a job`,
      target: 'under 3 ms a job',
      passed: whole && own < 3,
    },
    {
      name: 'a job in the queue',
      measured: `${largestJob} bytes`,
      target: 'under 2048 bytes',
      passed: largestJob < 2_048,
    },
  ];
}

const MANY = 100_000;

export async function benchDrain(): Promise<BenchLine[]> {
  const started = performance.now();
  const { peakMegabytes, redisMegabytes, longestBlock, forecasts, milliseconds, whole } = await drained(MANY);
  const seconds = (performance.now() - started) / 1000;
  return [
    {
      name: `${MANY} jobs drain: peak memory of the coordinator`,
      measured: `${peakMegabytes.toFixed(0)} MB${whole ? '' : ', and jobs were left'}; ${seconds.toFixed(0)} s`,
      target: 'under 300 MB',
      passed: whole && peakMegabytes < 300,
    },
    {
      name: 'the same: longest time for which the coordinator heard nobody',
      measured: `${longestBlock.toFixed(0)} ms; ${forecasts} times it was said when rolls will be ready; ${(milliseconds / MANY).toFixed(2)} ms of processor time a job`,
      target: 'none',
      passed: forecasts === 0 ? false : null,
    },
    {
      name: 'the same: of Redis',
      measured: `${redisMegabytes.toFixed(1)} MB`,
      target: 'under 50 MB',
      passed: whole && redisMegabytes < 50,
    },
  ];
}
