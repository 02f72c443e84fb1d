/** Jobs through a real queue on a real store; in place of the worker's process stands a processor that writes reports, or does not. */
import { mkdirSync, readdirSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { type Job as BullJob, UnrecoverableError, Worker } from 'bullmq';
import { Redis } from 'ioredis';
import { afterEach, describe, expect, test } from 'vitest';
import { type NightQueue, openNightQueue } from '../../coordinator/dispatch/night-queue.ts';
import { jobsOf } from '../../coordinator/dispatch/segments.ts';
import { type JobTracker, startJobTracker } from '../../coordinator/night/job-tracker.ts';
import { hintsTo, type JobMoved, newRunEvents } from '../../coordinator/night/run-events.ts';
import { expectedOf, readResults } from '../../coordinator/night/complete.ts';
import { menderOf } from '../../coordinator/night/mending.ts';
import { type Work, Works } from '../../coordinator/night/work.ts';
import { startPrivateStore } from '../../coordinator/store/private.ts';
import type { Finding } from '../../findings/finding.ts';
import { finding } from '../../findings/finding.ts';
import { givenBackText, needOf } from '../../ledger/farm.ts';
import type { Job } from '../../ledger/job.ts';
import { PartKeeper, partsOf, readJob } from '../../ledger/job-parts.ts';
import { layout } from '../../ledger/layout.ts';
import { recordPath, segmentFolder, segmentRecordBytes, segmentsKey } from '../../ledger/segments.ts';
import {
  BULL_PREFIX,
  JOB_QUEUE,
  nightKey,
  type QueueAddress,
  redisOptions,
  runsKey,
} from '../../ledger/queue.ts';
import { type Ticket, ticketSchema } from '../../ledger/ticket.ts';
import type { DeliverableReport } from '../../ledger/report.ts';
import { freshFolder } from '../support/folder.ts';
import { jobOf } from '../support/jobs.ts';
import { report } from '../support/world.ts';

const closing: (() => Promise<unknown>)[] = [];
afterEach(async () => {
  for (const close of closing.splice(0).reverse()) await close();
});

interface Bench {
  folder: string;
  address: QueueAddress;
  client: Redis;
  queue: NightQueue;
  tracker: JobTracker;
  reported: Finding[];
  noted: Finding[];
  moved: JobMoved[];
  jobs(count: number, profiles?: readonly string[]): (Work & { job: Job })[];
}

const RUN = 'run-now';
const rollOf = (name: string, place = 0, first: number | null = null) => ({
  name,
  rank: { first, due: null, place },
});

function workOf(job: Job, place = 0): Work & { job: Job } {
  const { ticket } = partsOf(job);
  return { job, ticket, expected: expectedOf(job), need: needOf(job), cut: null, place, seconds: 60 };
}
/** What was sent, by the id of its part. */
const sent = new Map<string, Job>();

async function bench(run = RUN, read = readResults): Promise<Bench> {
  const folder = freshFolder('making');
  const nothing = (): void => undefined;
  const store = startPrivateStore(folder, { onRestart: nothing, onLost: nothing });
  closing.push(() => store.stop());
  await store.ready;
  const reported: Finding[] = [];
  let queue: NightQueue | undefined;
  const moved: JobMoved[] = [];
  const noted: Finding[] = [];
  const events = newRunEvents();
  events.on('note', (item) => void noted.push(item));
  events.on('target-refused', (item) => reported.push(item));
  events.on('superseded', () => reported.push(finding('run-superseded', 'x', 'y')));
  events.on('job-moved', (move) => moved.push(move));
  const tracker = startJobTracker({
    run,
    queue: () => queue as NightQueue,
    events,
    isTargetHealthy: async () => true,
    log: nothing,
    read,
  });
  queue = await openNightQueue(store.address, { night: 'night', run, farm: null }, hintsTo(events));
  closing.push(() => (queue as NightQueue).close());
  const client = new Redis(redisOptions(store.address));
  client.on('error', nothing);
  closing.push(async () => client.disconnect());
  const jobs: Bench['jobs'] = (count, profiles) =>
    Array.from({ length: count }, (_, number) => {
      const work = workOf({ ...jobOf(number, run, profiles), deliveryFolder: join(folder, 'A001') }, number);
      sent.set(work.ticket.work, work.job);
      return work;
    });
  return { folder, address: store.address, client, queue, tracker, reported, noted, moved, jobs };
}

/** What a worker leaves on disk. */
function writeReport(job: Job, fields: Partial<DeliverableReport> = {}): void {
  for (const { profile, profileHash } of job.deliverables) {
    const made: DeliverableReport = {
      ...report(job.clip, profile.name, profileHash),
      run: job.run,
      ...fields,
    };
    if (made.state === 'published' && made.file !== null) {
      const path = join(job.deliveryFolder, made.file.path);
      mkdirSync(dirname(path), { recursive: true });
      writeFileSync(path, Buffer.alloc(made.file.bytes));
    }
    const path = layout.deliverableReport(job.deliveryFolder, job.clip.id, profile.name);
    mkdirSync(dirname(path), { recursive: true });
    writeFileSync(path, JSON.stringify(made));
  }
}

function jobIn(data: unknown): Job {
  const ticket: Ticket = ticketSchema.parse(data);
  const job = sent.get(ticket.work);
  if (job === undefined) throw new RangeError('a job that nobody sent');
  return job;
}

function worker(
  address: QueueAddress,
  work: (job: Job, bull: BullJob) => Promise<void> | void,
  concurrency = 4,
): Worker {
  const made = new Worker(JOB_QUEUE, async (bull) => void (await work(jobIn(bull.data), bull)), {
    connection: redisOptions(address) as object,
    prefix: BULL_PREFIX,
    concurrency,
    drainDelay: 1,
  });
  made.on('error', () => undefined);
  closing.push(() => made.close(true));
  return made;
}

test('jobs whose reports stand on disk are over, and the queue is left empty', async () => {
  const { address, tracker, jobs, queue, client } = await bench();
  let worked = 0;
  worker(address, (job) => {
    worked += 1;
    writeReport(job);
  });
  expect(await tracker.make(rollOf('A001'), jobs(12, ['cut', 'look']))).toEqual([]);
  expect(worked).toBe(12);
  expect(tracker.unfinished).toBe(0);
  await queue.clear();
  // The queue's own settings stay (meta, and the stream of events with its marks); no job, no roll, no key of the night.
  const left = (await client.keys('*')).filter(
    (key) => !/:(id|meta|events|marker|stalled-check|pc)$/.test(key),
  );
  expect(left).toEqual([]);
});

test('a job that the queue calls completed and that left nothing on disk is made again, and told when that does not help', async () => {
  const { address, tracker, jobs } = await bench();
  let worked = 0;
  worker(address, () => void (worked += 1));
  const given = await tracker.make(rollOf('A001'), jobs(1));
  expect(given.map((item) => [item.code, item.clip])).toEqual([['job-without-result', 'A001C00000']]);
  expect(worked).toBe(3);
});

test('a report of an earlier run, failed, is no result of this one; a failure of this run is', async () => {
  const { address, tracker, jobs } = await bench();
  const [one] = jobs(1);
  writeReport((one as { job: Job }).job, { state: 'failed', file: null, run: 'run-before' });
  let worked = 0;
  worker(address, (job) => {
    worked += 1;
    if (worked === 2) writeReport(job, { state: 'failed', file: null });
  });
  expect(await tracker.make(rollOf('A001'), jobs(1))).toEqual([]);
  expect(worked).toBe(2);
});

test('a published file of another size than its report says is no result', async () => {
  const { address, tracker, jobs, folder } = await bench();
  let worked = 0;
  worker(address, (job) => {
    worked += 1;
    writeReport(job);
    if (worked === 1) writeFileSync(join(folder, 'A001', 'cut', 'A001C00000.mov'), 'short');
  });
  expect(await tracker.make(rollOf('A001'), jobs(1))).toEqual([]);
  expect(worked).toBe(2);
});

test("the store's memory wiped in mid-night: what is not on disk is queued again", async () => {
  const { address, tracker, jobs, client } = await bench();
  const done = tracker.make(rollOf('A001'), jobs(8));
  await expect.poll(() => client.zcard(`${BULL_PREFIX}:${JOB_QUEUE}:prioritized`)).toBe(8);
  await client.flushall();
  worker(address, (job) => writeReport(job));
  await tracker.reconcile();
  expect(await done).toEqual([]);
});

test('a report that appeared while the queue lost the job is recognised, and nothing is made twice', async () => {
  const { address, tracker, jobs, client } = await bench();
  const work = jobs(2);
  const done = tracker.make(rollOf('A001'), work);
  await expect.poll(() => client.zcard(`${BULL_PREFIX}:${JOB_QUEUE}:prioritized`)).toBe(2);
  await client.flushall();
  writeReport((work[0] as { job: Job }).job);
  const worked: string[] = [];
  worker(address, (job) => {
    worked.push(job.clip.id);
    writeReport(job);
  });
  await tracker.reconcile();
  expect(await done).toEqual([]);
  expect(worked).toEqual(['A001C00001']);
});

test('held back, nothing is taken up; afterwards all of it is', async () => {
  const { address, tracker, jobs } = await bench();
  const done = tracker.make(rollOf('A001'), jobs(6));
  await tracker.pause();
  const worked: string[] = [];
  worker(address, (job) => {
    worked.push(job.clip.id);
    writeReport(job);
  });
  const later = tracker.make(rollOf('B001'), jobs(6).slice(5));
  await new Promise((resolve) => setTimeout(resolve, 300));
  expect(worked).toEqual([]);
  await tracker.resume();
  expect(await Promise.all([done, later])).toEqual([[], []]);
  expect(worked).toHaveLength(7);
});

test('a failure of the target is reported at once and is not counted against the job', async () => {
  const { address, tracker, jobs, reported } = await bench();
  let worked = 0;
  worker(address, (job) => {
    worked += 1;
    if (worked <= 5)
      writeReport(job, {
        state: 'failed',
        file: null,
        findings: [finding('target-full', '0 bytes free', 'more')],
      });
    else writeReport(job);
  });
  expect(await tracker.make(rollOf('A001'), jobs(1))).toEqual([]);
  expect(reported.map((item) => item.code)).toEqual(Array.from({ length: 5 }, () => 'target-full'));
});

test('asked to finish, it ends what is active, begins nothing, and waits for no other', async () => {
  const { address, tracker, jobs } = await bench();
  let release: () => void = () => undefined;
  const gate = new Promise<void>((resolve) => {
    release = resolve;
  });
  const worked: string[] = [];
  worker(address, async (job) => {
    worked.push(job.clip.id);
    await gate;
    writeReport(job);
  });
  const done = tracker.make(rollOf('A001'), jobs(20));
  await expect.poll(() => tracker.atWork).toBe(4);
  await tracker.finish();
  expect(tracker.unfinished).toBe(4);
  release();
  expect(await done).toEqual([]);
  expect(worked).toHaveLength(4);
});

test('given up, nothing is waited for', async () => {
  const { tracker, jobs } = await bench();
  const done = tracker.make(rollOf('A001'), jobs(3));
  tracker.giveUp();
  expect(await done).toEqual([]);
  expect(tracker.unfinished).toBe(0);
});

test('a run that died leaves nothing that the next run of the night would wait for or work at', async () => {
  const { address, client, tracker, jobs, queue, reported } = await bench();
  void tracker.make(rollOf('A001'), jobs(700));
  await expect
    .poll(() => client.zcard(`${BULL_PREFIX}:${JOB_QUEUE}:prioritized`), { timeout: 20_000 })
    .toBe(500);
  expect(await client.smembers(runsKey('night'))).toEqual([RUN]);
  const nothing = (): void => undefined;
  const later = await openNightQueue(
    address,
    { night: 'night', run: 'run-later', farm: null },
    {
      active: nothing,
      progress: nothing,
      ended: nothing,
      failure: nothing,
      back: nothing,
    },
  );
  closing.push(() => later.close());
  expect(await client.get(nightKey('night'))).toBe('run-later');
  expect(await client.smembers(runsKey('night'))).toEqual(['run-later']);
  expect(await client.zcard(`${BULL_PREFIX}:${JOB_QUEUE}:prioritized`)).toBe(0);
  expect(await client.keys(`${BULL_PREFIX}:${JOB_QUEUE}:${RUN}*`)).toEqual([]);
  expect(await queue.isOurs()).toBe(false);
  // Should the older run live after all, it notices and puts nothing back.
  await tracker.reconcile();
  expect(reported.map((item) => item.code)).toContain('run-superseded');
  expect(await client.zcard(`${BULL_PREFIX}:${JOB_QUEUE}:prioritized`)).toBe(0);
  expect(await later.isOurs()).toBe(true);
  await client.flushall();
  expect(await later.isOurs()).toBe(true);
});

test('every move of a job is reported with the state before and after, one after the other from the first to the end', async () => {
  const { address, tracker, jobs, moved } = await bench();
  worker(address, (job) => writeReport(job));
  expect(await tracker.make(rollOf('A001'), jobs(3))).toEqual([]);
  for (const clip of ['A001C00000', 'A001C00001', 'A001C00002']) {
    const path = moved.filter(({ job }) => job.clip.id === clip).map(({ from, to }) => [from, to]);
    expect(path[0]).toEqual(['pending', 'sending']);
    expect(path.at(-1)).toEqual(['checking', 'done']);
    for (const [index, [from]] of path.entries()) if (index > 0) expect(from).toBe(path[index - 1]?.[1]);
  }
});

test('at the end nothing is left; while a job waits, it is named with its state', async () => {
  const { client, tracker, jobs } = await bench();
  expect(() => tracker.assertNothingLeft()).not.toThrow();
  const done = tracker.make(rollOf('A001'), jobs(2));
  await expect.poll(() => client.zcard(`${BULL_PREFIX}:${JOB_QUEUE}:prioritized`)).toBe(2);
  await tracker.pause();
  expect(() => tracker.assertNothingLeft()).toThrow(
    '2 jobs are in no end state: A001 A001C00000: pending; A001 A001C00001: pending',
  );
  tracker.giveUp();
  expect(await done).toEqual([]);
  expect(() => tracker.assertNothingLeft()).not.toThrow();
});

test('taken back while the run goes on again, no job is left behind', async () => {
  const { address, tracker, jobs } = await bench();
  const done = tracker.make(rollOf('A001'), jobs(6));
  const paused = tracker.pause();
  await tracker.resume();
  await paused;
  worker(address, (job) => writeReport(job));
  expect(await done).toEqual([]);
});

test('a queue that does not take the jobs gets them again at the next reconciliation', async () => {
  const { address, queue, tracker, jobs } = await bench();
  const { add } = queue;
  queue.add = async () => {
    throw new Error('no room');
  };
  const done = tracker.make(rollOf('A001'), jobs(2));
  await expect.poll(() => tracker.unfinished).toBe(2);
  queue.add = add;
  worker(address, (job) => writeReport(job));
  await tracker.reconcile();
  expect(await done).toEqual([]);
});

test('a disk that cannot be looked at is looked at again, and that is not counted', async () => {
  let looks = 0;
  const { address, tracker, jobs } = await bench(RUN, async (job) => {
    looks += 1;
    if (looks <= 5) throw new Error('the disk does not answer');
    return await readResults(job);
  });
  worker(address, (job) => writeReport(job));
  const done = tracker.make(rollOf('A001'), jobs(1));
  // The end of the job and that of its roll are both reasons to look; each further look is a reconciliation.
  await expect.poll(() => looks).toBeGreaterThanOrEqual(1);
  await expect
    .poll(async () => {
      await tracker.reconcile();
      return tracker.unfinished;
    })
    .toBe(0);
  expect(await done).toEqual([]);
  expect(looks).toBe(6);
});

test('jobs of a roll that is asked for first come before those that lie in the queue already, the others as they were', async () => {
  const { address, tracker, jobs, client } = await bench();
  const all = jobs(600);
  const done = tracker.make(rollOf('A001', 1), all.slice(0, 590));
  await expect.poll(() => client.zcard(`${BULL_PREFIX}:${JOB_QUEUE}:prioritized`)).toBe(500);
  const first = tracker.make(rollOf('B001', 2, 0), all.slice(590));
  await expect.poll(() => tracker.unfinished).toBe(600);
  await tracker.reconcile();
  expect(await client.zcard(`${BULL_PREFIX}:${JOB_QUEUE}:prioritized`)).toBe(500);
  const begun: string[] = [];
  worker(
    address,
    (job) => {
      begun.push(job.clip.id);
      writeReport(job);
    },
    1,
  );
  expect(await Promise.all([first, done])).toEqual([[], []]);
  const id = ({ job }: { job: Job }): string => job.clip.id;
  expect(begun).toEqual([...all.slice(590), ...all.slice(0, 590)].map(id));
}, 60_000);

test('a job that failed is gone from the queue once its reason was heard', async () => {
  const { address, tracker, jobs, client } = await bench();
  let worked = 0;
  worker(address, (job) => {
    worked += 1;
    if (worked === 1) throw new UnrecoverableError('given up');
    writeReport(job);
  });
  expect(await tracker.make(rollOf('A001'), jobs(1))).toEqual([]);
  expect(worked).toBe(2);
  await expect.poll(() => client.keys(`${BULL_PREFIX}:${JOB_QUEUE}:${RUN}*`)).toEqual([]);
});

describe('what a job is about, on the delivery', () => {
  /** A machine of a farm that gives back what it cannot read, with the code of why. */
  const readingWorker = async (broken: (parts: string) => void, again: (job: Job) => Job = (job) => job) => {
    const { address, tracker, jobs, folder, noted } = await bench();
    const work = jobs(2);
    const rollFolder = join(folder, 'A001');
    const keeper = new PartKeeper(rollFolder);
    for (const { job } of work) await keeper.keep(partsOf(job).parts);
    broken(layout.jobPartsFolder(rollFolder));
    const seen: string[] = [];
    const made = new Worker(
      JOB_QUEUE,
      async (bull) => {
        const read = await readJob(ticketSchema.parse(bull.data), []);
        if ('finding' in read) {
          seen.push(read.finding.code);
          const back = { machine: `m${seen.length}`, host: 'edit-room', finding: read.finding };
          throw new UnrecoverableError(givenBackText(back));
        }
        writeReport(read.job);
      },
      { connection: redisOptions(address) as object, prefix: BULL_PREFIX, concurrency: 1, drainDelay: 1 },
    );
    made.on('error', () => undefined);
    closing.push(() => made.close(true));
    const mend = menderOf(({ clip }) => {
      const found = work.find(({ job }) => job.clip.id === clip.id)?.job;
      return found === undefined ? null : again(found);
    });
    const given = await tracker.make({ ...rollOf('A001'), mend }, work);
    return { given, seen, noted };
  };

  test.each<[string, (parts: string) => void, string]>([
    ['missing everywhere', (parts) => rmSync(parts, { recursive: true }), 'job-part-missing'],
    [
      'altered',
      (parts) => readdirSync(parts).forEach((name) => void writeFileSync(join(parts, name), '{}')),
      'job-part-altered',
    ],
  ])('%s: it is written anew from what the run holds, said once, and made', async (_, broken, code) => {
    const { given, seen, noted } = await readingWorker(broken);
    expect(given).toEqual([]);
    expect(new Set(seen)).toEqual(new Set([code]));
    expect(seen.length).toBeLessThanOrEqual(2);
    expect(noted.map((item) => [item.code, item.roll])).toEqual([['job-part-mended', 'A001']]);
  });

  test('what cannot be made the same again is not written, and told after three times, not twenty', async () => {
    const { given, seen, noted } = await readingWorker(
      (parts) => rmSync(parts, { recursive: true }),
      (job) => ({ ...job, facts: { ...job.facts, metadata: {} } }),
    );
    expect(given.map((item) => [item.code, item.clip])).toEqual([
      ['job-without-result', 'A001C00000'],
      ['job-without-result', 'A001C00001'],
    ]);
    expect(given[0]?.found).toContain('job-part-missing');
    expect(seen).toHaveLength(6);
    expect(noted).toEqual([]);
  });

  test('what lies there whole is left alone: a machine that does not find it is the one in trouble', async () => {
    const { address, tracker, jobs, folder, noted } = await bench();
    const [one] = jobs(1);
    if (one === undefined) throw new RangeError('no job');
    const rollFolder = join(folder, 'A001');
    const { parts } = partsOf(one.job);
    await new PartKeeper(rollFolder).keep(parts);
    const files = () =>
      readdirSync(layout.jobPartsFolder(rollFolder)).map(
        (name) => statSync(join(layout.jobPartsFolder(rollFolder), name)).ino,
      );
    const before = files();
    const missing = finding('job-part-missing', 'ENOENT', 'a file that can be read');
    let worked = 0;
    worker(address, (job) => {
      worked += 1;
      if (worked <= 5)
        throw new UnrecoverableError(givenBackText({ machine: 'm', host: 'edit-room', finding: missing }));
      writeReport(job);
    });
    const mend = menderOf(() => one.job);
    // More often than a job may end without a result: none of it is counted against the job.
    expect(await tracker.make({ ...rollOf('A001'), mend }, [one])).toEqual([]);
    expect(worked).toBe(6);
    expect(noted).toEqual([]);
    expect(files()).toEqual(before);
  });
});

describe('a clip that is cut', () => {
  const OF = 3;
  /** A job whose span is the clip's, as all of them are in the plan. */
  const cutWork = (folder: string): Work[] => {
    const job = jobOf(0, RUN);
    const { frames } = job.facts.video;
    const whole = { ...job, deliveryFolder: join(folder, 'A001'), span: { start: 0, count: frames } };
    sent.set(partsOf(whole).ticket.work, whole);
    const works = new Works();
    return jobsOf({ job: whole, seconds: 60, bytes: 1 }, OF).map(
      (one, place) => works.add(one.job, place, one.seconds).work,
    );
  };
  /** What a worker leaves on disk of a segment. */
  const writeSegment = (job: Job, ticket: Ticket): void => {
    const { segment: index = 0, segments: of = 0, span } = ticket;
    const key = segmentsKey({ ...expectedOf(job), segments: of });
    const folder = segmentFolder(job.deliveryFolder, job.clip.id, key, index);
    mkdirSync(folder, { recursive: true });
    const bytes = segmentRecordBytes({
      ...{ version: 0, key, index, of, start: span.start, frames: span.count },
      ...{ around: { before: 0, behind: 0 }, files: {}, taken: '', deliverables: [] },
      ...{ fingerprints: '', seconds: { make: 1, check: 1 }, machine: '', toolchain: '' },
    });
    writeFileSync(recordPath(folder), bytes);
  };

  test('is joined once all of its segments lie there, by a job of its own', async () => {
    const { folder, address, tracker, moved } = await bench();
    const order: (number | null)[] = [];
    worker(address, (job, bull) => {
      const ticket = ticketSchema.parse(bull.data);
      order.push(ticket.segment ?? null);
      if (ticket.segment === undefined) writeReport(job);
      else writeSegment(job, ticket);
    });
    expect(await tracker.make(rollOf('A001'), cutWork(folder))).toEqual([]);
    expect(order.slice(0, OF).sort()).toEqual([0, 1, 2]);
    expect(order.slice(OF)).toEqual([null]);
    tracker.assertNothingLeft();
    expect(moved.filter(({ to }) => to === 'done')).toHaveLength(OF + 1);
  });

  test('of segments that an interrupted run left none is made again; joined are all of them', async () => {
    const { folder, address, tracker, moved } = await bench();
    const work = cutWork(folder);
    for (const { ticket } of [work[0], work[2]] as [Work, Work])
      writeSegment(sent.get(ticket.work) as Job, ticket);
    const made: (number | null)[] = [];
    worker(address, (job, bull) => {
      const ticket = ticketSchema.parse(bull.data);
      made.push(ticket.segment ?? null);
      if (ticket.segment === undefined) writeReport(job);
      else writeSegment(job, ticket);
    });
    expect(await tracker.make(rollOf('A001'), work)).toEqual([]);
    expect(made).toEqual([1, null]);
    tracker.assertNothingLeft();
    expect(moved.filter(({ from, to }) => from === 'pending' && to === 'unjoined')).toHaveLength(2);
  });

  test('a segment that is lost before it is joined is made again, and it alone', async () => {
    const { folder, address, tracker } = await bench();
    const made: (number | null)[] = [];
    worker(address, (job, bull) => {
      const ticket = ticketSchema.parse(bull.data);
      made.push(ticket.segment ?? null);
      if (ticket.segment !== undefined) return writeSegment(job, ticket);
      if (made.filter((one) => one === null).length > 1) return writeReport(job);
      const key = segmentsKey({ ...expectedOf(job), segments: OF });
      rmSync(segmentFolder(job.deliveryFolder, job.clip.id, key, 1), { recursive: true });
      throw new UnrecoverableError('SegmentsIncomplete');
    });
    expect(await tracker.make(rollOf('A001'), cutWork(folder))).toEqual([]);
    expect(made.slice(OF)).toEqual([null, 1, null]);
    tracker.assertNothingLeft();
  });

  test('is not joined when one of its segments came to a failure, and nothing is left of it', async () => {
    const { folder, address, tracker } = await bench();
    let joins = 0;
    worker(address, (job, bull) => {
      const ticket = ticketSchema.parse(bull.data);
      if (ticket.segment === undefined) joins += 1;
      else if (ticket.segment === 1) writeReport(job, { state: 'failed', file: null });
      else writeSegment(job, ticket);
    });
    expect(await tracker.make(rollOf('A001'), cutWork(folder))).toEqual([]);
    expect(joins).toBe(0);
    tracker.assertNothingLeft();
  });

  test('ends with the run, whatever of it waits', async () => {
    const { folder, address, tracker } = await bench();
    let release: () => void = () => undefined;
    const held = new Promise<void>((resolve) => {
      release = resolve;
    });
    let begun: () => void = () => undefined;
    const beginning = new Promise<void>((resolve) => {
      begun = resolve;
    });
    worker(
      address,
      async (job, bull) => {
        const ticket = ticketSchema.parse(bull.data);
        begun();
        await held;
        writeSegment(job, ticket);
      },
      1,
    );
    const making = tracker.make(rollOf('A001'), cutWork(folder));
    await beginning;
    await tracker.finish();
    release();
    expect(await making).toEqual([]);
    tracker.assertNothingLeft();
  });
});
