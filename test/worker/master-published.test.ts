/** A master through the whole job: its folder is published, found again, made again where it must be, and measured again by the audit. */
import {
  copyFileSync,
  cpSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  statSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { auditDelivery } from '../../coordinator/audit/index.ts';
import type { RollAudit } from '../../coordinator/audit/request.ts';
import { type Job, workOf } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import { type DeliverableReport, deliverableReportSchema } from '../../ledger/report.ts';
import { readRecord } from '../../ledger/store.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { decideOutcome } from '../../profiles/outcome/any.ts';
import { JobFailure } from '../../worker/context.ts';
import { runJob } from '../../worker/job.ts';
import { decide } from '../support/decide.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { makeMovie } from '../support/media.ts';
import { jobFor, workContext } from '../support/work.ts';

const PROFILE = 'grading-master-exr';

async function masterJob(folder: string): Promise<Job> {
  const base = await jobFor(
    await makeMovie(join(folder, 'A001', 'A001C001.mov'), { frames: 4, size: '64x48' }),
    join(folder, 'delivery'),
    ['profiles/builtin/editorial-rdd36.yaml'],
  );
  const facts = {
    ...base.facts,
    interpretation: {
      input: { name: 'bt709' as const },
      inputFrom: 'show' as const,
      raw: { whiteBalance: 'as-shot' as const, exposureStops: 0, anchor: 'sensor' as const },
      owner: '',
      comments: '',
    },
  };
  const { profiles } = await loadProfiles({ wanted: [PROFILE] });
  const deliverables = profiles.map(({ profile, hash }) => {
    const decided = decideOutcome({ day: base.day, roll: base.roll, clip: base.clip, facts, profile });
    if (decided.outcome === null) throw new Error(JSON.stringify(decided.findings));
    return workOf(profile, hash, decided.outcome);
  });
  return { ...base, facts, deliverables };
}

const folderOf = (job: Job): string =>
  layout.deliverable(job.deliveryFolder, PROFILE, job.deliverables[0]?.outcome.fileName ?? '');

async function reportOf(job: Job): Promise<DeliverableReport> {
  const read = await readRecord(
    layout.deliverableReport(job.deliveryFolder, job.clip.id, PROFILE),
    deliverableReportSchema,
  );
  if (read.state !== 'read') throw new Error(read.state);
  return read.value;
}

async function codesOf(running: Promise<void>): Promise<string[]> {
  try {
    await running;
    return [];
  } catch (error) {
    if (!(error instanceof JobFailure)) throw error;
    return error.findings.map((item) => item.code);
  }
}

const names = (job: Job): string[] => readdirSync(folderOf(job)).sort();

const base = join(sharedFolder, 'audited-master');
let made: Job;
beforeAll(async () => {
  made = await masterJob(base);
  await runJob(made, await workContext());
  const held = await decide(made);
  if (held.length > 0) throw new Error(held.join());
}, 240_000);

/** The finished job with a delivery of its own: what lies there names no folder. */
function copied(): Job {
  const deliveryFolder = join(freshFolder('copy'), made.day, made.roll);
  cpSync(made.deliveryFolder, deliveryFolder, { recursive: true, preserveTimestamps: true });
  return { ...made, deliveryFolder };
}

test('is published as a folder with a checksum list; a second run of the job makes nothing', async () => {
  const job = copied();
  const report = await reportOf(job);
  expect(report).toMatchObject({ state: 'published', file: { path: `${PROFILE}/A001C001`, files: 6 } });
  expect(report.checksumList?.sha256).toBe(report.file?.sha256);
  expect(names(job)).toHaveLength(6);
  expect(readdirSync(layout.profileFolder(job.deliveryFolder, PROFILE))).toEqual(['A001C001']);
  expect(await decide(job)).toEqual([]);
  const { ino } = statSync(folderOf(job));
  await runJob(job, await workContext());
  expect(statSync(folderOf(job)).ino).toBe(ino);
});

describe('the audit', () => {
  /** A copy of the delivery, touched; what the audit says of its one roll. */
  async function auditOf(touch: (folder: string) => void): Promise<RollAudit> {
    const delivery = freshFolder('audit');
    cpSync(join(base, 'delivery'), delivery, { recursive: true });
    touch(layout.deliverable(layout.rollFolder(delivery, made.day, made.roll), PROFILE, 'A001C001'));
    const { tools } = await workContext();
    const { rolls } = await auditDelivery({ delivery, tools });
    return rolls[0] as RollAudit;
  }

  test('finds it as it was', async () => {
    expect(await auditOf(() => undefined)).toMatchObject({
      recorded: 'ready',
      measured: 'ready',
      statement: 'fits',
      findings: [],
    });
  });

  const frame = (number: number): string => `A001C001.${String(number).padStart(7, '0')}.exr`;
  test.each<[string, (folder: string) => void, string, string]>([
    [
      'one byte of one frame',
      (folder) => flip(join(folder, frame(86_401))),
      'folder-file-differs',
      frame(86_401),
    ],
    [
      'two frames swapped',
      (folder) => swap(join(folder, frame(86_400)), join(folder, frame(86_401))),
      'folder-file-differs',
      frame(86_400),
    ],
    [
      'a frame taken away',
      (folder) => rmSync(join(folder, frame(86_401))),
      'folder-file-absent',
      frame(86_401),
    ],
    [
      'a frame added',
      (folder) => copyFileSync(join(folder, frame(86_400)), join(folder, frame(86_404))),
      'folder-file-unexpected',
      frame(86_404),
    ],
    [
      'a hidden file added',
      (folder) => writeFileSync(join(folder, '.DS_Store'), ''),
      'folder-file-unexpected',
      '.DS_Store',
    ],
  ])('tells %s by name', async (_, touch, code, name) => {
    const audit = await auditOf(touch);
    expect(audit).toMatchObject({ recorded: 'ready', measured: 'held' });
    expect(audit.findings.map((item) => [item.code, item.file])).toContainEqual([
      code,
      `${PROFILE}/A001C001/${name}`,
    ]);
  });
});

test('that was touched is not overwritten when it is made again', async () => {
  const job = copied();
  const [first = ''] = names(job);
  flip(join(folderOf(job), first));
  const touched = readFileSync(join(folderOf(job), first));
  expect(await codesOf(runJob(job, await workContext()))).toEqual(['target-name-taken']);
  expect(readFileSync(join(folderOf(job), first)).equals(touched)).toBe(true);
  expect(readdirSync(layout.profileFolder(job.deliveryFolder, PROFILE))).toEqual(['A001C001']);
});

test('an older one, made with other settings, is replaced', async () => {
  const of = copied();
  const job = { ...of, deliverables: structuredClone(of.deliverables) };
  const before = await reportOf(job);
  const [deliverable] = job.deliverables;
  if (deliverable?.outcome.linearisation?.kind !== 'coded') throw new Error('no master');
  deliverable.outcome.linearisation.input = { name: 'srgb' };
  await runJob(job, await workContext());
  const after = await reportOf(job);
  expect(after.state).toBe('published');
  expect(after.file?.sha256).not.toBe(before.file?.sha256);
  expect(readdirSync(layout.profileFolder(job.deliveryFolder, PROFILE))).toEqual(['A001C001']);
});

function flip(path: string): void {
  const bytes = readFileSync(path);
  bytes[bytes.length - 5] = (bytes[bytes.length - 5] as number) ^ 1;
  writeFileSync(path, bytes);
}

function swap(a: string, b: string): void {
  renameSync(a, `${a}.moved`);
  renameSync(b, a);
  renameSync(`${a}.moved`, b);
}
