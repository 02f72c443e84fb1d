/**
 * A worker: one process, one machine's share. It takes jobs from the queue, makes, checks, publishes and reports, and
 * remembers nothing. How it is started and asked to end: ledger/queue.ts.
 *
 *   setup   from the environment; a queue; programs located once
 *   take    from one queue, or from those that its starter names: what this machine is fit for (taking.ts)
 *   claim   a job of a night that was superseded, or one that runs here already, is not taken
 *   work    job.ts, loaded with the first job; what is not for this machine goes back uncounted
 *   end     SIGTERM once: what runs is finished; twice, SIGINT, or the starter gone: encoders are killed, jobs given back
 */
import { hostname } from 'node:os';
import { type Job as QueuedJob, UnrecoverableError } from 'bullmq';
import { Redis } from 'ioredis';
import { pino } from 'pino';
import { type Attempts, attemptsOf, attemptText, WORKERS_A_JOB_MAY_COST } from '../ledger/attempts.ts';
import { type FromWorker, givenBackText, toWorkerSchema } from '../ledger/farm.ts';
import { deliveryPlace } from '../ledger/lease.ts';
import { runAtWork } from '../ledger/lease-file.ts';
import { machineId } from '../files/machine-id.ts';
import { type Finding, FindingError, finding } from '../findings/finding.ts';
import type { Job } from '../ledger/job.ts';
import { readJob } from '../ledger/job-parts.ts';
import {
  cancelKey,
  JOB_QUEUE,
  type JobProgress,
  KEY_SECONDS,
  lockNameKey,
  nightKey,
  redisOptions,
  WORKER_VARIABLE,
  type WorkerSetup,
  workerSetupSchema,
} from '../ledger/queue.ts';
import { type Ticket, ticketSchema } from '../ledger/ticket.ts';
import { findingsWithPlaces } from '../ledger/portable.ts';
import { localTicket } from '../ledger/volumes.ts';
import { type Toolchain, toolchainOf } from '../ledger/toolchain.ts';
import { locateTools, type MediaTools } from '../process/locate.ts';
import { JobFailure, NotForThisMachine } from './context.ts';
import { SegmentsIncomplete } from './segments/incomplete.ts';
import { newPresence } from './presence.ts';
import { startRenewer } from './renewal.ts';
import type { Take } from './shares.ts';
import { enterTakers, type Taken } from './takers.ts';
import { FARM_REST_MILLISECONDS, REST_MILLISECONDS, startTaking } from './taking.ts';
import { deliveryOf, targetStateOf } from './target.ts';
import { targetFailure } from './classify.ts';
import { machinesTrouble } from './whose.ts';

const PROGRESS_MILLISECONDS = 2_000;
/** Above WORKERS_A_JOB_MAY_COST: a job is given up by a worker that writes down why, not by the queue, which writes no report. */
const STALLS_ALLOWED = 2 * WORKERS_A_JOB_MAY_COST;
const EXIT_STARTER_GONE = 1;

function readSetup(): WorkerSetup {
  const text = process.env[WORKER_VARIABLE];
  if (text === undefined) {
    process.stderr.write(
      `${WORKER_VARIABLE} is not set: a worker is started by \`rushlight run\` or \`rushlight worker\`\n`,
    );
    process.exit(2);
  }
  return workerSetupSchema.parse(JSON.parse(text));
}

const setup = readSetup();
const log =
  setup.logFile === null
    ? pino({ level: 'silent' })
    : pino({ base: { worker: setup.name } }, pino.destination({ dest: setup.logFile, sync: true }));
const connection = redisOptions(setup.queue);
const redis = new Redis(connection);
// A lost store is expected to come back; without a listener its loss would end the process.
redis.on('error', (error) => log.warn({ error: error.message }, 'queue connection'));

let programs: Promise<{ tools: MediaTools; toolchain: Toolchain }> | undefined;
function locate(): Promise<{ tools: MediaTools; toolchain: Toolchain }> {
  programs ??= locateTools({ ffmpeg: setup.ffmpeg, ffprobe: setup.ffprobe }).then((tools) => ({
    tools,
    toolchain: toolchainOf(tools),
  }));
  // A program that is missing now may be there for the next job.
  programs.catch(() => {
    programs = undefined;
  });
  return programs;
}

interface Running {
  readonly stop: AbortController;
  /** Never rejects. */
  readonly ended: Promise<void>;
}
/** Since when each place of this process is free, performance.now(), the longest first; of one that never had a job nothing is known. */
const freeSince: number[] = [];

/** Jobs that run in this process: after a long outage the queue may hand the same job out again. */
const running = new Map<string, Running>();

const renewer = startRenewer({
  queue: setup.queue,
  lockMilliseconds: setup.lockMilliseconds,
  hungMilliseconds: setup.stallSeconds * 1000,
});
const presence = newPresence(setup.name, (message, fields) => log.warn(fields, message));

/** Another run has the delivery: its lease says so, whatever the queue believes. */
async function isOthers(job: Pick<Ticket, 'deliveryFolder' | 'run'>): Promise<boolean> {
  const lease = await runAtWork(deliveryPlace(deliveryOf(job.deliveryFolder)));
  return lease !== null && lease.run !== job.run;
}

async function isWanted(job: Pick<Ticket, 'night' | 'run'>): Promise<boolean> {
  const [run, cancelled] = await Promise.all([
    redis.get(nightKey(job.night)),
    redis.exists(cancelKey(job.run)),
  ]);
  return run === job.run && cancelled === 0;
}

/** Reports progress at most once in two seconds and at every new phase, and looks at the same beat whether the job is still wanted. */
function teller(
  queued: QueuedJob,
  job: Pick<Ticket, 'night' | 'run'>,
  stop: AbortController,
  { attempt, workersLost }: Attempts,
): (progress: JobProgress) => void {
  const retryable = attempt > 1 ? { attempt, workersLost } : {};
  let last = 0;
  let phase: JobProgress['phase'] | null = null;
  return (progress) => {
    const now = performance.now();
    // A new phase is reported at once: until then the last one would seem to stand still at its end.
    if (progress.phase === phase && now - last < PROGRESS_MILLISECONDS) return;
    last = now;
    phase = progress.phase;
    queued
      .updateProgress({ ...progress, ...retryable })
      .catch((error: unknown) => log.warn({ id: queued.id, error: String(error) }, 'progress not reported'));
    isWanted(job)
      .then((wanted) => {
        if (!wanted) stop.abort(new UnrecoverableError('cancelled, or taken over by a later run'));
      })
      .catch((error: unknown) =>
        log.warn({ id: queued.id, error: String(error) }, 'could not ask whether the job is wanted'),
      );
  };
}

/** A job that cannot be understood names no place for a report: the queue carries the reason. */
function reported(item: Finding): UnrecoverableError {
  return new UnrecoverableError(`${item.code}: found ${item.found}; expected ${item.expected}`);
}

/** The job goes back, and this process takes none of its class until the starter has asked the machine again. */
function giveBack(queue: string, at: Finding): UnrecoverableError {
  // Others are told it too, who have other paths.
  const [found = at] = findingsWithPlaces([at], setup.mounts);
  setAside.add(queue);
  words += 1;
  tellTakes();
  tellStarter({ kind: 'given-back', queue, finding: found });
  return new UnrecoverableError(givenBackText({ machine: machineId().id, host: hostname(), finding: found }));
}

/** What kept a job from being begun: null where it says nothing of this machine. */
function beforeWork(error: unknown, job: Job): Finding | null {
  if (!setup.farm) return null;
  const findings = error instanceof FindingError ? error.findings : [];
  const state = targetStateOf(error, deliveryOf(job.deliveryFolder));
  const target = state === null ? [] : targetFailure(state, job.deliveryFolder, {}).findings;
  return machinesTrouble([...findings, ...target], job, machineId().id);
}

async function work(queued: QueuedJob, token: string, queue: string): Promise<void> {
  const id = queued.id ?? '';
  const parsed = ticketSchema.safeParse(queued.data);
  if (!parsed.success) {
    const issue = parsed.error.issues[0];
    throw reported(
      finding('job-damaged', `${issue?.path.join('.')}: ${issue?.message}`, 'a job of this version'),
    );
  }
  const local = localTicket(parsed.data, setup.mounts);
  if ('finding' in local) throw setup.farm ? giveBack(queue, local.finding) : reported(local.finding);
  const { ticket } = local;
  const free = freeSince.shift();
  const counted = attemptsOf(queued);
  let taken: Taken = { lost: [], leave: () => undefined };
  const stop = new AbortController();
  const lock = renewer.keep({ queue, id }, token, (why) =>
    stop.abort(new Error(`the lock on this job is lost: ${why}`)),
  );
  let over: () => void = () => undefined;
  const ended = new Promise<void>((resolve) => {
    over = resolve;
  });
  const { signal } = stop;
  try {
    await ownsAlone(id, signal);
    running.set(id, { stop, ended });
    if (setup.farm) taken = await enterTakers(redis, id, { machine: machineId().id, claim: token });
    // A job that was given back begins in the queue anew; what it cost before is remembered beside it.
    const attempts = { ...counted, workersLost: Math.max(counted.workersLost, taken.lost.length) };
    if (!(await isWanted(ticket))) throw new UnrecoverableError('cancelled, or taken over by a later run');
    log.info(
      {
        id,
        roll: ticket.roll,
        clip: ticket.clip.id,
        attempt: attempts.attempt,
        workersLost: attempts.workersLost,
        retryable: attemptText(attempts),
      },
      'begins',
    );
    const tell = teller(queued, ticket, stop, attempts);
    if (attempts.attempt > 1)
      tell({ phase: 'make', frames: 0, total: ticket.span.count, framesPerSecond: 0 });
    const job = await partsRead(ticket);
    const { runJob } = await import('./job.ts');
    const { tools, toolchain } = await begun(job);
    await runJob(job, {
      tools,
      toolchain,
      threads: setup.threads,
      stallMilliseconds: setup.stallSeconds * 1000,
      signal,
      attempt: attempts.attempt,
      workersLost: attempts.workersLost,
      machinesLost: new Set(taken.lost).size,
      machine: setup.farm ? machineId().id : null,
      mounts: setup.mounts,
      waited: free === undefined ? null : (performance.now() - free) / 1000,
      lastAttempt: queued.attemptsMade + 1 >= (queued.opts.attempts ?? 1),
      onProgress: tell,
      fence: async () => {
        signal.throwIfAborted();
        if (!(await isWanted(job)) || (await isOthers(job)))
          throw new UnrecoverableError('cancelled, or taken over by a later run');
        if (!(await queued.extendLock(token, setup.lockMilliseconds)))
          throw new Error('the lock on this job is lost');
        // The answer may have taken long.
        signal.throwIfAborted();
        if (!lock.stillOurs()) throw new Error('the lock on this job is lost');
      },
    });
    log.info({ id }, 'done');
    tellStarter({ kind: 'done', queue });
  } catch (error) {
    log.warn({ id, error: String(error) }, 'ends without its result');
    if (error instanceof NotForThisMachine) throw giveBack(queue, error.finding);
    if (error instanceof SegmentsIncomplete) throw new UnrecoverableError(error.message);
    if (error instanceof JobFailure && !error.retryable) throw new UnrecoverableError(error.message);
    throw error;
  } finally {
    lock.release();
    taken.leave();
    if (running.get(id)?.stop === stop) running.delete(id);
    freeSince.push(performance.now());
    over();
  }
}

/** An attempt of this process at the same job, whose lock was lost, is ended first: it is no failure of the job's. */
async function ownsAlone(id: string, signal: AbortSignal): Promise<void> {
  for (let older = running.get(id); older !== undefined; older = running.get(id)) {
    older.stop.abort(new Error('the lock on this job is lost: the queue has given it out again'));
    await older.ended;
    signal.throwIfAborted();
  }
}

/** The job with all that its ticket names. What is missing here another machine of a farm may have; what is not, nobody makes anything of. */
async function partsRead(ticket: Ticket): Promise<Job> {
  const read = await readJob(ticket);
  if ('job' in read) return read.job;
  if (setup.farm) throw new NotForThisMachine(read.finding);
  throw reported(read.finding);
}

/** What has to stand before a job is worked on. */
async function begun(job: Job): Promise<{ readonly tools: MediaTools; readonly toolchain: Toolchain }> {
  try {
    let located = await locate();
    if (located.toolchain.digest !== job.toolchain) {
      // The programs may have been exchanged since they were asked.
      programs = undefined;
      located = await locate();
    }
    await presence.in(deliveryOf(job.deliveryFolder), job.deliveryFolder);
    return located;
  } catch (error) {
    const machines = beforeWork(error, job);
    if (machines !== null) throw new NotForThisMachine(machines);
    throw error;
  }
}

const taking = startTaking({
  redis,
  slots: setup.slots,
  lockMilliseconds: setup.lockMilliseconds,
  stalledMilliseconds: setup.stalledMilliseconds,
  stallsAllowed: STALLS_ALLOWED,
  restMilliseconds: setup.farm ? FARM_REST_MILLISECONDS : REST_MILLISECONDS,
  work,
  log: (message, fields) => log.warn(fields, message),
});

/** What the starter said last, without what was given back since. */
let told: readonly Take[] = setup.farm ? [] : [{ queue: JOB_QUEUE, run: null, weight: 1 }];
const setAside = new Set<string>();
/** How many words the starter was told that it must have read before it names a queue again. */
let words = 0;
function tellTakes(): void {
  taking.tell(told.filter(({ queue }) => !setAside.has(queue)));
}
function tellStarter(word: FromWorker): void {
  if (setup.farm && process.connected) process.send?.(word);
}
process.on('message', (message: unknown) => {
  const read = toWorkerSchema.safeParse(message);
  // One that was on its way when a job was given back knows nothing of that.
  if (!read.success || read.data.read < words) return;
  told = read.data.queues;
  setAside.clear();
  tellTakes();
});

let ending = false;
async function finish(): Promise<void> {
  await taking.finish();
  await taking.close();
  // With a store that is away nothing is waited for: the key runs out.
  if (redis.status === 'ready') await redis.del(lockNameKey(setup.id));
  redis.disconnect();
  await presence.end();
  process.exit(0);
}
/** Encoders are killed and jobs given back; what hangs then is ended by the exit. */
function stopNow(code: number): void {
  for (const { stop } of running.values()) stop.abort(new Error('the worker was asked to stop'));
  setTimeout(() => process.exit(code), 3_000).unref();
  void taking
    .finish()
    .then(() => taking.close())
    .finally(() => process.exit(code));
}
function onSignal(now: boolean): void {
  if (ending || now) stopNow(0);
  else finish().catch((error: unknown) => log.error({ error: String(error) }, 'closing'));
  ending = true;
}
// Whatever the way out: a lease that is left would keep what this process left unfinished for a minute.
process.on('exit', () => presence.leave());
process.on('SIGTERM', () => onSignal(false));
process.on('SIGINT', () => onSignal(true));
process.stdin.on('end', () => stopNow(EXIT_STARTER_GONE));
process.stdin.on('error', () => stopNow(EXIT_STARTER_GONE));
process.stdin.resume();
// Before it holds any: whoever started it gives its locks up when it dies.
await Promise.all([renewer.ready, redis.set(lockNameKey(setup.id), taking.name, 'EX', KEY_SECONDS)]);
tellTakes();
log.info({ pid: process.pid }, 'ready');
