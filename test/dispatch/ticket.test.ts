/** A job in the queue: small whatever its clip carries, and read again only as it was written. */
import { readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { openNightQueue } from '../../coordinator/dispatch/night-queue.ts';
import { needOf } from '../../ledger/farm.ts';
import type { Job } from '../../ledger/job.ts';
import { PartKeeper, partsOf, readJob, removeParts } from '../../ledger/job-parts.ts';
import { layout } from '../../ledger/layout.ts';
import { BULL_PREFIX, JOB_QUEUE } from '../../ledger/queue.ts';
import {
  TICKET_BYTES_LIMIT,
  ticketBytes,
  ticketSchema,
  WITNESSES_KEPT,
  withWitness,
} from '../../ledger/ticket.ts';
import { freshFolder } from '../support/folder.ts';
import { jobOf } from '../support/jobs.ts';
import { type SharedRedis, sharedRedis } from '../support/redis.ts';

/** With a table for every 16-bit code and a value for every column, as a camera may write them (DNG 1.6, LinearizationTable, BlackLevelDeltaH). */
function laden(number = 1): Job {
  const job = jobOf(number, 'run', ['cut', 'look', 'review', 'archive', 'hdr', 'hlg', 'dpx']);
  const table = Array.from({ length: 65_536 }, (_, code) => code);
  const metadata = { ...job.facts.metadata, table: JSON.stringify(table), deltas: 'x'.repeat(20_000) };
  return { ...job, facts: { ...job.facts, metadata } };
}

describe('a job in Redis', () => {
  let store: SharedRedis;
  beforeAll(async () => {
    store = await sharedRedis();
  });
  afterAll(() => store.stop());

  test('takes less than 2 KiB of its memory, as Redis measures it, whatever its clip carries', async () => {
    const nothing = (): void => undefined;
    const queue = await openNightQueue(
      { kind: 'url', url: store.url },
      { night: 'night', run: 'run', farm: null },
      { active: nothing, progress: nothing, ended: nothing, failure: nothing, back: nothing },
    );
    const job = laden();
    expect(JSON.stringify(job).length).toBeGreaterThan(300_000);
    await queue.add(queue.queueOf(needOf(job)), [
      { id: 'run.j1.q1', ticket: partsOf(job).ticket, priority: 16_384 },
    ]);
    const used = await store.ask('MEMORY', 'USAGE', `${BULL_PREFIX}:${JOB_QUEUE}:run.j1.q1`, 'SAMPLES', '0');
    expect(used).toBeLessThan(2_048);
    expect(used).toBeGreaterThan(400);
    await queue.clear();
    await queue.close();
  });
});

test('it is never larger than was said when it was planned, however many machines gave it back', () => {
  const job = { ...laden(), day: 'd'.repeat(255), rollFolder: `/${'r'.repeat(300)}` };
  let { ticket } = partsOf(job);
  for (let machine = 0; machine < 20; machine += 1)
    ticket = withWitness(
      ticket,
      { machine: String(machine).padStart(32, 'a'), code: 'encoder-stalled' },
      true,
    );
  expect(ticket.witnesses).toHaveLength(WITNESSES_KEPT);
  expect(Buffer.byteLength(JSON.stringify(ticket))).toBeLessThanOrEqual(ticketBytes(job));
  expect(ticketBytes(job)).toBeLessThan(TICKET_BYTES_LIMIT);
  expect(ticketBytes({ ...job, deliveryFolder: `/${'é'.repeat(700)}` })).toBeGreaterThan(TICKET_BYTES_LIMIT);
});

test('a job as an earlier version sent it is not taken for one of ours', () => {
  expect(ticketSchema.safeParse(jobOf(1, 'run')).success).toBe(false);
  expect(ticketSchema.safeParse({ ...partsOf(jobOf(1, 'run')).ticket, version: 0 }).success).toBe(false);
});

describe('what a job is about', () => {
  async function kept(job: Job) {
    const folder = join(freshFolder('parts'), 'A001');
    const own = { ...job, deliveryFolder: folder };
    const { ticket, parts } = partsOf(own);
    await new PartKeeper(folder).keep(parts);
    return { folder, job: own, ticket, parts: layout.jobPartsFolder(folder) };
  }
  const codeOf = (read: Awaited<ReturnType<typeof readJob>>): string =>
    'finding' in read ? read.finding.code : 'whole';

  test('is read again as it was', async () => {
    const { ticket, job } = await kept({ ...laden(), source: 'seen' });
    expect(await readJob(ticket)).toEqual({ job });
  });

  test('lies once for clips that share it, and is gone when the roll is over', async () => {
    const { folder, parts } = await kept(jobOf(1, 'run'));
    const keeper = new PartKeeper(folder);
    for (const number of [1, 2, 3]) await keeper.keep(partsOf(jobOf(number, 'run')).parts);
    // Of each clip what is known of it and its work; one profile.
    expect(readdirSync(parts)).toHaveLength(2 * 3 + 1);
    await removeParts(folder);
    expect(readdirSync(layout.reportsFolder(folder))).toEqual([]);
  });

  test('altered in any of its files, by any byte, is not used', async () => {
    const { ticket, parts } = await kept(jobOf(1, 'run'));
    for (const name of readdirSync(parts)) {
      const path = join(parts, name);
      const bytes = readFileSync(path);
      for (const at of [0, bytes.length >> 1, bytes.length - 1]) {
        const spoiled = Buffer.from(bytes);
        spoiled[at] = (spoiled[at] ?? 0) ^ 1;
        writeFileSync(path, spoiled);
        expect(codeOf(await readJob(ticket, []))).toBe('job-part-altered');
      }
      writeFileSync(path, bytes.subarray(0, -1));
      expect(codeOf(await readJob(ticket, []))).toBe('job-part-altered');
      rmSync(path);
      expect(codeOf(await readJob(ticket, []))).toBe('job-part-missing');
      writeFileSync(path, bytes);
    }
    expect(codeOf(await readJob(ticket, []))).toBe('whole');
  });

  test('is waited for a little where a share shows it late', async () => {
    const { ticket, parts } = await kept(jobOf(1, 'run'));
    const path = join(parts, `${ticket.facts}.json`);
    const bytes = readFileSync(path);
    rmSync(path);
    const read = readJob(ticket, [1, 1, 100, 100]);
    writeFileSync(path, bytes);
    expect(codeOf(await read)).toBe('whole');
  });

  test('written anew by the next run where it was altered', async () => {
    const { folder, ticket, parts, job } = await kept(jobOf(1, 'run'));
    writeFileSync(join(parts, `${ticket.work}.json`), '{}');
    await new PartKeeper(folder).keep(partsOf(job).parts);
    expect(codeOf(await readJob(ticket, []))).toBe('whole');
  });
});
