/** What is there of a job's deliverables is read once: counted by the bytes that this process read (/proc/self/io, proc(5): rchar), so only on Linux. */
import { cpSync, mkdirSync, readFileSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { spawnSync } from 'node:child_process';
import { basename, dirname, join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { digestOfFile } from '../../files/digest.ts';
import { digestOfFolder } from '../../files/folder-digest.ts';
import type { Job } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import { storeChecksumList } from '../../ledger/checksum-list.ts';
import { deliverableReportSchema, type DeliverableReport } from '../../ledger/report.ts';
import { readRecord, writeRecord } from '../../ledger/store.ts';
import { runJob } from '../../worker/job.ts';
import { newToken } from '../../ledger/owner.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { frameName } from '../support/frames.ts';
import { makeMovie } from '../support/media.ts';
import { jobFor, workContext } from '../support/work.ts';

const MIB = 1024 * 1024;
/** So large that everything else that a job reads is little beside it. */
const LARGE = 48 * MIB;

function bytesRead(): number {
  return Number(/rchar: (\d+)/.exec(readFileSync('/proc/self/io', 'utf8'))?.[1]);
}

/** How often the large thing was read. */
async function timesRead(work: () => Promise<unknown>): Promise<number> {
  const before = bytesRead();
  await work();
  return (bytesRead() - before) / LARGE;
}

async function rewriteReport(
  job: Job,
  profile: string,
  change: (report: DeliverableReport) => Promise<DeliverableReport>,
): Promise<void> {
  const path = layout.deliverableReport(job.deliveryFolder, job.clip.id, profile);
  const read = await readRecord(path, deliverableReportSchema);
  if (read.state !== 'read') throw new Error(read.state);
  await writeRecord(path, deliverableReportSchema, await change(read.value));
}

let made: Job;
beforeAll(async () => {
  const folder = join(sharedFolder, 'found');
  const source = await makeMovie(join(folder, 'A001', 'A001C001.mov'), { frames: 24 });
  made = await jobFor(source, join(folder, 'delivery'));
  await runJob({ ...made, deliverables: made.deliverables.slice(0, 1) }, await workContext());
});

/** A job whose first deliverable is published and large; it has so many. */
async function published(count: 1 | 2): Promise<Job> {
  const deliveryFolder = join(freshFolder('found'), 'delivery', made.day, made.roll);
  cpSync(made.deliveryFolder, deliveryFolder, { recursive: true });
  const job = { ...made, deliveryFolder, deliverables: made.deliverables.slice(0, count) };
  const [first] = job.deliverables as [Job['deliverables'][number]];
  const { name } = first.profile;
  const path = layout.deliverable(job.deliveryFolder, name, first.outcome.fileName);
  writeFileSync(path, Buffer.alloc(LARGE, 7));
  const { bytes, xxh128, sha256 } = await digestOfFile(path);
  await rewriteReport(job, name, async (report) => ({
    ...report,
    file: { path: `${name}/${first.outcome.fileName}`, bytes, xxh128, sha256 },
  }));
  return job;
}

const oneProfile = ['test/fixtures/profiles/small-vc3.yaml'];
const failing = async (): Promise<string> => {
  const path = join(freshFolder('failing'), 'ffmpeg');
  writeFileSync(path, '#!/bin/sh\ncase "$*" in *-filter_complex*) exit 7;; esac\nexec ffmpeg "$@"\n', {
    mode: 0o755,
  });
  return path;
};

describe('each byte of a finished deliverable is read once', () => {
  test('in a job that is done again', async () => {
    const job = await published(1);
    const context = await workContext();
    const times = await timesRead(() => runJob(job, context));
    expect(times).toBeGreaterThanOrEqual(1);
    expect(times).toBeLessThan(1.2);
  });

  test('in a job whose other deliverable fails for good', async () => {
    const job = await published(2);
    const context = await workContext({ ffmpeg: await failing() });
    let failed: unknown = null;
    const times = await timesRead(async () => {
      failed = await runJob(job, context).catch((error: unknown) => error);
    });
    expect(String(failed)).toContain('encoder-failed');
    expect(times).toBeGreaterThanOrEqual(1);
    expect(times).toBeLessThan(1.2);
  });

  test('in a job that comes upon a folder that a crash kept from its final name', async () => {
    const job = await published(1);
    const [{ profile, outcome }] = job.deliverables as [Job['deliverables'][number]];
    const final = layout.deliverable(job.deliveryFolder, profile.name, outcome.fileName);
    rmSync(final);
    const gone = newToken().replace(`-${process.pid}-`, `-${spawnSync('true').pid}-`);
    const staged = join(dirname(final), `.rushlight-part-${gone}`);
    mkdirSync(staged);
    for (let frame = 0; frame < 4; frame += 1)
      writeFileSync(join(staged, frameName(86_400 + frame)), Buffer.alloc(LARGE / 4, frame));
    const digest = await digestOfFolder(staged);
    const checksumList = await storeChecksumList(job.deliveryFolder, job.clip.id, profile.name, digest);
    await rewriteReport(job, profile.name, async (report) => ({
      ...report,
      state: 'publishing',
      staged: basename(staged),
      checksumList,
      file: {
        path: `${profile.name}/${outcome.fileName}`,
        bytes: digest.bytes,
        xxh128: digest.xxh128,
        sha256: digest.sha256,
        files: 4,
      },
    }));
    const context = await workContext();
    const times = await timesRead(() => runJob(job, context));
    expect(times).toBeGreaterThanOrEqual(1);
    expect(times).toBeLessThan(1.2);
    expect(await digestOfFolder(final)).toMatchObject({ sha256: digest.sha256 });
  });
});

describe('what cannot be ours under the final name is refused before anything is made, and left as it is', () => {
  test.each<[string, (path: string) => void]>([
    ['a folder', (path) => mkdirSync(path)],
    ['a symbolic link', (path) => symlinkSync('elsewhere', path)],
  ])('%s', async (what, put) => {
    const folder = freshFolder('others');
    const source = await makeMovie(join(folder, 'A001', 'A001C001.mov'), { frames: 24 });
    const job = await jobFor(source, join(folder, 'delivery'), oneProfile);
    const final = layout.deliverable(job.deliveryFolder, 'small-vc3', 'A001C001.mov');
    mkdirSync(dirname(final), { recursive: true });
    put(final);
    // An encoder that is never started: it would fail with another finding.
    const failed = await runJob(job, await workContext({ ffmpeg: await failing() })).catch(
      (error: unknown) => error,
    );
    expect(failed).toMatchObject({
      findings: [{ code: 'target-name-taken', found: what, file: 'small-vc3/A001C001.mov' }],
      retryable: false,
    });
    const path = layout.deliverableReport(job.deliveryFolder, 'A001C001', 'small-vc3');
    expect(await readRecord(path, deliverableReportSchema)).toMatchObject({
      state: 'read',
      value: { state: 'failed', findings: [{ code: 'target-name-taken' }] },
    });
  });
});
