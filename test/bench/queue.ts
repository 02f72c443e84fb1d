/**
 * The queue's own cost: jobs through it from their parts to their end, with workers that ask and tell what a real one does and
 * write a report instead of making anything. The coordinator's side is a process of its own.
 */
import { spawn } from 'node:child_process';
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { Redis } from 'ioredis';
import { openNightQueue } from '../../coordinator/dispatch/night-queue.ts';
import { expectedOf } from '../../coordinator/night/complete.ts';
import { startJobTracker, type Work } from '../../coordinator/night/job-tracker.ts';
import { hintsTo, newRunEvents } from '../../coordinator/night/run-events.ts';
import { needOf } from '../../ledger/farm.ts';
import type { Job } from '../../ledger/job.ts';
import { PartKeeper, partsOf } from '../../ledger/job-parts.ts';
import { layout } from '../../ledger/layout.ts';
import { cancelKey, JOB_QUEUE, nightKey, type QueueAddress, redisOptions } from '../../ledger/queue.ts';
import { ticketSchema } from '../../ledger/ticket.ts';
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
  }).tell([JOB_QUEUE]);
  process.stdin.resume().on('end', () => process.exit(0));
  await new Promise(() => undefined);
}

function writeReport({ clip, deliverables }: Job, folder: string): void {
  for (const { profile, profileHash } of deliverables) {
    const made = { ...report(clip, profile.name, profileHash), run: RUN };
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
  readonly whole: boolean;
}

/** Prints what it measured: the coordinator's side, from the parts of the jobs to the last report that was read. */
export async function measureCoordinator({ address, delivery, jobs }: QueueRequest): Promise<void> {
  const before = process.cpuUsage();
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
  let largestJob = 0;
  const making: Promise<unknown>[] = [];
  for (let first = 0; first < jobs; first += ROLL_CLIPS) {
    const work: Work[] = [];
    const roll = `R${String(first / ROLL_CLIPS).padStart(3, '0')}`;
    const folder = join(delivery, 'day-03', roll);
    const keeper = new PartKeeper(folder);
    for (let place = 0; place < Math.min(ROLL_CLIPS, jobs - first); place += 1) {
      const job = jobIn(first + place, roll, folder);
      const { ticket, parts } = partsOf(job);
      await keeper.keep(parts);
      largestJob = Math.max(largestJob, JSON.stringify(ticket).length);
      work.push({
        ticket,
        expected: expectedOf(job),
        need: needOf(job),
        place,
        seconds: 60 + ((first + place) % 30),
      });
    }
    const rank = { first: null, due: null, place: first };
    making.push(
      tracker.make({ name: roll, rank }, work).then((given) => {
        // As many rolls as a hundred thousand clips have fill a disk.
        rmSync(folder, { recursive: true, force: true });
        return given.length;
      }),
    );
  }
  const given = (await Promise.all(making)) as number[];
  clearInterval(timer);
  const { user, system } = process.cpuUsage(before);
  const measured: Measured = {
    milliseconds: (user + system) / 1000,
    peakMegabytes: process.resourceUsage().maxRSS / 1024,
    largestJob,
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
  const { peakMegabytes, redisMegabytes, whole } = await drained(MANY);
  const seconds = (performance.now() - started) / 1000;
  return [
    {
      name: `${MANY} jobs drain: peak memory of the coordinator`,
      measured: `${peakMegabytes.toFixed(0)} MB${whole ? '' : ', and jobs were left'}; ${seconds.toFixed(0)} s`,
      target: 'under 300 MB',
      passed: whole && peakMegabytes < 300,
    },
    {
      name: 'the same: of Redis',
      measured: `${redisMegabytes.toFixed(1)} MB`,
      target: 'under 50 MB',
      passed: whole && redisMegabytes < 50,
    },
  ];
}
