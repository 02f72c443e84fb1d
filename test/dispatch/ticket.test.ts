/** A job in the queue: small whatever its clip carries, and read again only as it was written. */
import { readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { basename, dirname, join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { openNightQueue } from '../../coordinator/dispatch/night-queue.ts';
import { needOf, POSTINGS_KEY, readPostings } from '../../ledger/farm.ts';
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
import { localTicket, portableTicket } from '../../ledger/volumes.ts';
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

const soundRoll = (folder: string, ...files: string[]): NonNullable<Job['soundRolls']>[number] => ({
  ...{ roll: basename(folder), folder, contentDigest: `digest of ${folder}`, source: `seen of ${folder}` },
  files: files.map((path, index) => ({ path, bytes: 7 + index })),
});
/** A clip that takes tracks from two sound rolls of its day, one of which lies in a volume of its own. */
const sounding = (number = 1): Job => ({
  ...jobOf(number, 'run'),
  ...{ rollFolder: '/mnt/raid/day-03/A001', deliveryFolder: '/mnt/raid/out/day-03/A001' },
  soundRolls: [
    soundRoll('/mnt/raid/day-03/S001', 'takes/24A-T03.wav', '24A-T04.wav'),
    soundRoll('/mnt/sound/day-03/S002', '24A-T05.wav'),
  ],
});
const here = [
  { name: 'raid', at: '/mnt/raid' },
  { name: 'sound', at: '/mnt/sound' },
];

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

  test('its sound rolls are posted for machines beside its roll, and again for jobs that come later; none as this machine has them', async () => {
    const nothing = (): void => undefined;
    const volumes = here.map(({ name }, index) => ({ name, id: String(index).repeat(32) }));
    const queue = await openNightQueue(
      { kind: 'url', url: store.url },
      {
        ...{ night: 'night-2', run: 'run-2', farm: '/mnt/raid/out' },
        volumes: { mounts: here, volumes },
      },
      { active: nothing, progress: nothing, ended: nothing, failure: nothing, back: nothing },
    );
    const own = { ...jobOf(1, 'run-2'), rollFolder: '/mnt/raid/day-03/A001' };
    const silent = { ...own, deliveryFolder: '/mnt/raid/out/day-03/A001' };
    const name = queue.queueOf(needOf(silent));
    const rolls = async (): Promise<unknown> => {
      const texts = await store.ask('HGET', POSTINGS_KEY, name);
      return readPostings({ [name]: String(texts) }).map((posting) => posting.rolls);
    };
    await queue.add(name, [{ id: 'run-2.j1.q1', ticket: partsOf(silent).ticket, priority: 1 }]);
    expect(await rolls()).toEqual([['volume:raid/day-03/A001']]);
    // What needs the same of a machine lies in the same queue, with sound and without.
    expect(queue.queueOf(needOf(sounding(2)))).toBe(name);
    await queue.add(name, [{ id: 'run-2.j2.q1', ticket: partsOf(sounding(2)).ticket, priority: 2 }]);
    expect(await rolls()).toEqual([
      ['volume:raid/day-03/A001', 'volume:raid/day-03/S001', 'volume:sound/day-03/S002'],
    ]);
    const sent = await store.ask('HGET', `${BULL_PREFIX}:${name}:run-2.j2.q1`, 'data');
    expect(JSON.parse(String(sent))).toMatchObject({
      soundFolders: ['volume:raid/day-03/S001', 'volume:sound/day-03/S002'],
    });
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

  test('with sound rolls, is on another machine what it was, but for where that has them', async () => {
    const { folder, ticket, job } = await kept(sounding());
    const mounts = [...here, { name: 'out', at: dirname(folder) }];
    const sent = portableTicket(ticket, mounts);
    expect(JSON.stringify(sent)).not.toMatch(/"\//);
    // As it lies in the queue and is read there.
    const taken = ticketSchema.parse(JSON.parse(JSON.stringify(sent)));
    const back = localTicket(taken, mounts);
    if ('finding' in back) throw new Error(back.finding.found);
    expect(await readJob(back.ticket, [])).toEqual({ job });
    const there = localTicket(taken, [
      { name: 'raid', at: '/x' },
      { name: 'sound', at: '/y/z' },
      { name: 'out', at: dirname(folder) },
    ]);
    if ('finding' in there) throw new Error(there.finding.found);
    expect(await readJob(there.ticket, [])).toEqual({
      job: {
        ...{ ...job, rollFolder: '/x/day-03/A001' },
        soundRolls: job.soundRolls?.map((one, index) => ({
          ...one,
          folder: ['/x/day-03/S001', '/y/z/day-03/S002'][index],
        })),
      },
    });
    expect(localTicket(taken, mounts.slice(0, 1))).toMatchObject({ finding: { code: 'volume-unknown' } });
    // Given back by a machine, it goes to the next one with all that it had.
    const again = withWitness(taken, { machine: 'a'.repeat(32), code: 'source-missing' }, true);
    expect(again.soundFolders).toEqual(taken.soundFolders);
  });

  test.each<[string, (folders: readonly string[]) => readonly string[] | undefined]>([
    ['one folder of two', (folders) => folders.slice(1)],
    ['a folder more', (folders) => [...folders, '/mnt/raid/day-03/S003']],
    ['no folder', () => undefined],
  ])('with two sound rolls and %s, is no job', async (_, change) => {
    const { ticket } = await kept(sounding());
    const { soundFolders, ...rest } = ticket;
    const changed = change(soundFolders ?? []);
    const spoiled = changed === undefined ? rest : { ...rest, soundFolders: [...changed] };
    expect(codeOf(await readJob(spoiled, []))).toBe('job-damaged');
  });

  test('lies once for clips that share it, and is gone when the roll is over', async () => {
    const { folder, parts } = await kept(jobOf(1, 'run'));
    const keeper = new PartKeeper(folder);
    for (const number of [1, 2, 3]) await keeper.keep(partsOf(jobOf(number, 'run')).parts);
    // Of each clip what is known of it and its work; one profile.
    expect(readdirSync(parts)).toHaveLength(2 * 3 + 1);
    await removeParts(folder, 'remove');
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
