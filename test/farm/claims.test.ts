/** Numbers that only grow: a worker that froze at any point of publishing, and thaws after another one has published, replaces nothing of it. */
import { lstatSync, mkdirSync, readdirSync, readFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { expect, test } from 'vitest';
import { ClaimOvertaken, claimsOf, highestClaim, takeClaim } from '../../ledger/claims.ts';
import type { Job } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import { type DeliverableReport, deliverableReportSchema } from '../../ledger/report.ts';
import { readRecord } from '../../ledger/store.ts';
import { writeClaimed } from '../../worker/claims.ts';
import { runJob } from '../../worker/job.ts';
import { freshFolder } from '../support/folder.ts';
import { makeMovie } from '../support/media.ts';
import { report } from '../support/world.ts';
import { jobOf } from '../support/jobs.ts';
import { jobFor, workContext } from '../support/work.ts';

const fence = async (): Promise<void> => undefined;

function claimFolder(): string {
  const delivery = freshFolder('claims');
  return claimsOf(delivery, ['day-03', 'A001', 'A001C001', 'cut']);
}

test('each number is taken once, by whoever asks', async () => {
  const folder = claimFolder();
  const claims = await Promise.all(Array.from({ length: 6 }, () => takeClaim(folder, fence)));
  expect(claims.map(({ number }) => number).sort()).toEqual([1, 2, 3, 4, 5, 6]);
  expect(await highestClaim(folder)).toBe(6);
  // Lower numbers say nothing any more; nothing half made is left.
  expect(readdirSync(folder)).toEqual(['6']);
});

test('a number that others took and gave up meanwhile is not taken once more', async () => {
  const folder = claimFolder();
  let asked = 0;
  const late = await takeClaim(folder, async () => {
    asked += 1;
    if (asked === 1) for (let others = 0; others < 3; others += 1) await takeClaim(folder, fence);
  });
  expect(late.number).toBe(4);
  expect(asked).toBe(2);
  await late.assertHighest();
  expect(readdirSync(folder)).toEqual(['4']);
});

test('who has a lower number is told so', async () => {
  const folder = claimFolder();
  const first = await takeClaim(folder, fence);
  await first.assertHighest();
  const second = await takeClaim(folder, fence);
  await expect(first.assertHighest()).rejects.toBeInstanceOf(ClaimOvertaken);
  await second.assertHighest();
});

test('frozen between the fence and the number: another one took it meanwhile, and the fence is asked again', async () => {
  const folder = claimFolder();
  let asked = 0;
  const thawed = takeClaim(folder, async () => {
    asked += 1;
    // It passes, the process freezes, and another one gets the job and a number.
    if (asked === 1) await takeClaim(folder, fence);
    else throw new Error('the lock on this job is lost');
  });
  await expect(thawed).rejects.toThrow('the lock on this job is lost');
  expect(await highestClaim(folder)).toBe(1);
});

test('frozen within the writing of a report: the report of the higher number stands again afterwards', async () => {
  const delivery = freshFolder('claims');
  const job: Job = { ...jobOf(1, 'run-1'), deliveryFolder: join(delivery, 'day-03', 'A001') };
  mkdirSync(job.deliveryFolder, { recursive: true });
  const folder = claimsOf(delivery, ['day-03', 'A001', job.clip.id, 'cut']);
  const of = (host: string): DeliverableReport => ({ ...report(job.clip, 'cut', 'hash-cut'), host });
  const frozen = await takeClaim(folder, fence);
  const higher = await takeClaim(folder, fence);
  await writeClaimed(higher, job, of('higher'), null);
  // It asked before it froze, and writes when it thaws.
  const thawed = { ...frozen, assertHighest: once(fence, frozen.assertHighest) };
  await expect(writeClaimed(thawed, job, of('frozen'), null)).rejects.toBeInstanceOf(ClaimOvertaken);
  const read = await readRecord(
    layout.deliverableReport(job.deliveryFolder, job.clip.id, 'cut'),
    deliverableReportSchema,
  );
  expect(read).toMatchObject({ state: 'read', value: { host: 'higher', claim: higher.number } });
});

/** The first call is answered by `first`, further ones by `then`. */
function once(first: () => Promise<void>, then: () => Promise<void>): () => Promise<void> {
  let called = false;
  return async () => {
    if (called) return await then();
    called = true;
    await first();
  };
}

test('a worker that freezes behind its fence, while another one makes the clip with another profile and publishes, replaces neither file nor report', async () => {
  const folder = freshFolder('claims');
  const source = await makeMovie(join(folder, 'A001', 'A001C001.mov'), { frames: 12, size: '256x144' });
  const profile = 'test/fixtures/profiles/small-vc3.yaml';
  const job = await jobFor(source, join(folder, 'delivery'), [profile]);
  const [work] = job.deliverables;
  if (work === undefined) throw new Error('a job without a deliverable');
  const name = work.profile.name;
  // What a later run asks of the same clip: another hash is another profile.
  const later: Job = {
    ...job,
    run: 'run-later',
    deliverables: [{ ...work, profileHash: 'of-a-later-profile' }],
  };
  let published: { readonly report: string; readonly inode: number } | undefined;
  const paths = {
    report: layout.deliverableReport(job.deliveryFolder, job.clip.id, name),
    file: layout.deliverable(job.deliveryFolder, name, work.outcome.fileName),
  };
  const frozen = await workContext({
    machine: 'north',
    fence: async () => {
      if (published !== undefined) throw new Error('the lock on this job is lost');
      await runJob(later, await workContext({ machine: 'south' }));
      published = { report: readFileSync(paths.report, 'utf8'), inode: lstatSync(paths.file).ino };
    },
  });
  await expect(runJob(job, frozen)).rejects.toThrow('the lock on this job is lost');
  expect(published).toBeDefined();
  expect(readFileSync(paths.report, 'utf8')).toBe(published?.report);
  expect(lstatSync(paths.file).ino).toBe(published?.inode);
  expect(JSON.parse(published?.report ?? '')).toMatchObject({
    state: 'published',
    claim: 1,
    run: 'run-later',
  });
  // Nothing half made is left.
  expect(readdirSync(dirname(paths.file))).toEqual([work.outcome.fileName]);
});
