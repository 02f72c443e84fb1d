/**
 * Faults of the store, the disk and the clock under one job: whatever stands afterwards under a final name is whole and
 * checked, the gate is ready only when everything is there, and the next run finishes what is missing. Mounting a small
 * tmpfs needs root (support/root.ts).
 */
import { execFileSync, spawnSync } from 'node:child_process';
import {
  cpSync,
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  rmSync,
  statSync,
  truncateSync,
  utimesSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { afterEach, beforeAll, describe, expect, onTestFinished, test, vi } from 'vitest';
import { blocks } from '../../findings/finding.ts';
import type { Job } from '../../ledger/job.ts';
import { layout, STAGING_PREFIX } from '../../ledger/layout.ts';
import { packageFolder } from '../../files/installation.ts';
import { JobFailure } from '../../worker/context.ts';
import { runJob } from '../../worker/job.ts';
import { gateVerdict } from '../campaign/run-case.ts';
import { filesBelow } from '../support/delivery.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { makeMovie } from '../support/media.ts';
import { everyRow, further } from '../support/lane.ts';
import { needsRoot } from '../support/root.ts';
import { jobFor, workContext } from '../support/work.ts';
import { faultyFfmpeg } from './stand-in.ts';

const both = ['test/fixtures/profiles/small-vc3.yaml', 'test/fixtures/profiles/small-h264.yaml'];

async function prepared(
  wanted: readonly string[] = both,
): Promise<{ job: Job; folder: string; delivery: string }> {
  const folder = freshFolder('store');
  const source = await makeMovie(join(folder, 'A001', 'A001C001.mov'), { frames: 24, size: '256x144' });
  const delivery = join(folder, 'delivery');
  return { job: await jobFor(source, delivery, wanted), folder, delivery };
}

/** Codes of a job that did not end well; [] when it did. */
async function codesOf(running: Promise<void>): Promise<string[]> {
  try {
    await running;
    return [];
  } catch (error) {
    if (!(error instanceof JobFailure)) throw error;
    return error.findings.map((item) => item.code);
  }
}

async function verdictOf(job: Job): Promise<{ verdict: string; codes: string[] }> {
  const { verdict, findings } = await gateVerdict(job);
  return { verdict, codes: [...new Set(findings.filter(blocks).map((item) => item.code))].sort() };
}

const finalPaths = (job: Job): string[] =>
  job.deliverables.map(({ profile, outcome }) =>
    layout.deliverable(job.deliveryFolder, profile.name, outcome.fileName),
  );
const unfinished = (delivery: string): string[] =>
  filesBelow(delivery).filter((name) => name.includes(STAGING_PREFIX));
const reportPath = (job: Job, profile = 'small-vc3'): string =>
  layout.deliverableReport(job.deliveryFolder, job.clip.id, profile);

test('an encoder that hangs is ended, and the roll held by that', async () => {
  const { job, folder } = await prepared();
  const { tools, ...context } = await workContext({ stallMilliseconds: 1_500 });
  const hanging = faultyFfmpeg(folder, { do: 'hang' });
  expect(
    await codesOf(
      runJob(job, { ...context, tools: { ...tools, ffmpeg: { ...tools.ffmpeg, path: hanging.path } } }),
    ),
  ).toEqual(['encoder-stalled']);
  expect(await verdictOf(job)).toEqual({ verdict: 'held', codes: ['encoder-stalled'] });
});

describe('a worker that dies', () => {
  function killAt(job: Job, folder: string, asked: number): void {
    writeFileSync(join(folder, 'job.json'), JSON.stringify(job));
    const ended = spawnSync(
      process.execPath,
      [join(packageFolder, 'test', 'faults', 'killed-job.mjs'), join(folder, 'job.json'), String(asked)],
      { encoding: 'utf8' },
    );
    expect([ended.signal, ended.stderr]).toEqual(['SIGKILL', '']);
  }

  test('after the first of two outputs was published: the roll is held, the next run keeps that output and makes the other', async () => {
    const { job, folder, delivery } = await prepared();
    killAt(job, folder, 2);
    const [first, second] = finalPaths(job) as [string, string];
    expect([existsSync(first), existsSync(second)]).toEqual([true, false]);
    expect(await verdictOf(job)).toEqual({ verdict: 'held', codes: ['deliverable-absent'] });
    expect(unfinished(delivery)).toHaveLength(1);
    const { ino, mtimeMs } = statSync(first);
    await runJob(job, await workContext());
    expect(statSync(first)).toMatchObject({ ino, mtimeMs });
    expect(await verdictOf(job)).toEqual({ verdict: 'ready', codes: [] });
    expect(unfinished(delivery)).toEqual([]);
  });

  // A worker killed while it encodes, in npm test: test/night/disturbed.test.ts.
  const beforeTheFirst = async (): Promise<void> => {
    const { job, folder, delivery } = await prepared();
    killAt(job, folder, 1);
    expect(finalPaths(job).map((path) => existsSync(path))).toEqual([false, false]);
    expect((await verdictOf(job)).verdict).toBe('held');
    await runJob(job, await workContext());
    expect(await verdictOf(job)).toEqual({ verdict: 'ready', codes: [] });
    expect(unfinished(delivery)).toEqual([]);
  };
  if (everyRow) test('before the first: nothing stands, and the next run makes both', beforeTheFirst);
});

let finished: Job;
beforeAll(async () => {
  const folder = join(sharedFolder, 'store-made');
  const source = await makeMovie(join(folder, 'A001', 'A001C001.mov'), { frames: 24, size: '256x144' });
  finished = await jobFor(source, join(folder, 'delivery'), [both[0] as string]);
  await runJob(finished, await workContext());
  expect(await verdictOf(finished)).toEqual({ verdict: 'ready', codes: [] });
});
/** The finished job with a copy of its delivery: what lies there names no folder. */
function finishedCopy(): { readonly job: Job; readonly delivery: string } {
  const delivery = join(freshFolder('store'), 'delivery');
  const deliveryFolder = join(delivery, finished.day, finished.roll);
  cpSync(finished.deliveryFolder, deliveryFolder, { recursive: true });
  return { job: { ...finished, deliveryFolder }, delivery };
}

describe('a report that was touched', () => {
  const made = (): Job => finishedCopy().job;

  test('and was not, is ready as a copy too', async () => {
    expect(await verdictOf(made())).toEqual({ verdict: 'ready', codes: [] });
  });

  test('torn at any length, it holds the roll; the next run writes it again, and the file itself stays as it is', async () => {
    const job = made();
    const whole = readFileSync(reportPath(job));
    for (const share of [0, 0.01, 0.3, 0.5, 0.9, 1]) {
      writeFileSync(
        reportPath(job),
        whole.subarray(0, Math.min(whole.length - 3, Math.floor(whole.length * share))),
      );
      expect(await verdictOf(job)).toEqual({ verdict: 'held', codes: ['record-damaged'] });
    }
    const [path] = finalPaths(job) as [string];
    const { ino, mtimeMs } = statSync(path);
    expect(await codesOf(runJob(job, await workContext()))).toEqual([]);
    expect(await verdictOf(job)).toEqual({ verdict: 'ready', codes: [] });
    expect(statSync(path)).toMatchObject({ ino, mtimeMs });
  });

  test.each<[string, readonly string[], (report: Record<string, unknown>) => void]>([
    [
      'another digest',
      ['digest-differs', 'record-incomplete'],
      (report) => Object.assign(report.file as object, { xxh128: '0'.repeat(32), sha256: '' }),
    ],
    ['another size', ['file-size-differs'], (report) => Object.assign(report.file as object, { bytes: 1 })],
    [
      'another file',
      ['file-absent', 'record-contradictory'],
      (report) => Object.assign(report.file as object, { path: 'small-vc3/A001C002.mov' }),
    ],
    [
      'a file outside',
      ['file-absent', 'record-contradictory'],
      (report) => Object.assign(report.file as object, { path: '../../../A001/A001C001.mov' }),
    ],
    [
      'another content',
      ['deliverable-outdated'],
      (report) => Object.assign(report.clip as object, { contentDigest: 'f'.repeat(64) }),
    ],
    [
      'another profile',
      ['deliverable-outdated'],
      (report) => Object.assign(report, { profileHash: 'f'.repeat(64) }),
    ],
    ['no checks', ['check-absent'], (report) => Object.assign(report, { checks: [] })],
    [
      'one check fewer',
      ['check-absent'],
      (report) => Object.assign(report, { checks: (report.checks as unknown[]).slice(1) }),
    ],
    [
      'a check that failed',
      ['check-failed'],
      (report) => Object.assign((report.checks as object[])[0] as object, { status: 'failed' }),
    ],
    [
      'not yet published',
      ['deliverable-unpublished'],
      (report) => Object.assign(report, { state: 'publishing' }),
    ],
    [
      'a code that nobody knows',
      ['from-the-future'],
      (report) =>
        Object.assign(report, { findings: [{ code: 'from-the-future', found: 'x', expected: 'y' }] }),
    ],
    ['a newer version', ['record-damaged'], (report) => Object.assign(report, { version: 2 })],
  ])('edited to say %s: held for %j', async (_title, codes, edit) => {
    const job = made();
    const report = JSON.parse(readFileSync(reportPath(job), 'utf8')) as Record<string, unknown>;
    edit(report);
    writeFileSync(reportPath(job), JSON.stringify(report));
    expect(await verdictOf(job)).toEqual({ verdict: 'held', codes });
  });

  test('an output edited after it was published is not taken for finished, and not overwritten', async () => {
    const job = made();
    const [path] = finalPaths(job) as [string];
    const bytes = readFileSync(path);
    bytes[bytes.length >> 1] = (bytes[bytes.length >> 1] as number) ^ 1;
    writeFileSync(path, bytes);
    expect(await codesOf(runJob(job, await workContext()))).toEqual(['target-name-taken']);
    expect((await verdictOf(job)).verdict).toBe('held');
    expect(readFileSync(path).equals(bytes)).toBe(true);
  });

  test('an output cut off after it was published holds the roll', async () => {
    const job = made();
    truncateSync((finalPaths(job) as [string])[0], 1_000);
    expect(await verdictOf(job)).toEqual({ verdict: 'held', codes: ['digest-differs', 'file-size-differs'] });
  });
});

describe('a volume that is too small', () => {
  function mounted(delivery: string, kilobytes: number): { grow(): void } {
    execFileSync('mount', ['-t', 'tmpfs', '-o', `size=${kilobytes}k`, 'rushlight-test', delivery]);
    onTestFinished(() => {
      execFileSync('umount', ['-l', delivery]);
    });
    return { grow: () => execFileSync('mount', ['-o', 'remount,size=64m', delivery]) };
  }

  const wanted = [both[0] as string];
  /** What the whole job leaves, and what lies there at its fullest, in kilobytes. */
  function need(): number {
    const { delivery } = finishedCopy();
    return Math.ceil(
      filesBelow(delivery).reduce(
        (sum, name) => sum + 4096 * Math.ceil(statSync(join(delivery, name)).size / 4096),
        0,
      ) / 1024,
    );
  }

  test('full at whatever stage: nothing unfinished stands or lies about, and with room the next run finishes', async (context) => {
    needsRoot(context);
    const whole = need();
    const ends: string[] = [];
    // From no room at all to room for everything but the last record.
    for (const share of [...further(0, 0.35), 0.8, ...further(0.95), 1.1]) {
      const { job, delivery } = await prepared(wanted);
      const { grow } = mounted(delivery, Math.max(16, Math.round(whole * share)));
      mkdirSync(job.deliveryFolder, { recursive: true });
      const codes = await codesOf(runJob(job, await workContext()));
      const { verdict } = await verdictOf(job);
      ends.push(codes.length === 0 ? 'finished' : codes.join());
      expect(verdict, `${share} of ${whole} KiB: ${codes.join()}`).toBe(
        codes.length === 0 ? 'ready' : 'held',
      );
      expect(unfinished(delivery)).toEqual([]);
      grow();
      await runJob(job, await workContext());
      expect(await verdictOf(job)).toEqual({ verdict: 'ready', codes: [] });
    }
    expect([...new Set(ends)].sort()).toEqual(['finished', 'target-full']);
    expect(ends.at(0)).toBe('target-full');
  }, 240_000);

  test('read-only from the moment of publishing on: told as that, nothing stands, and later it is finished', async (context) => {
    needsRoot(context);
    const { job, delivery } = await prepared(wanted);
    const { grow } = mounted(delivery, 64 * 1024);
    mkdirSync(job.deliveryFolder, { recursive: true });
    const readOnly = async (): Promise<void> => {
      execFileSync('mount', ['-o', 'remount,ro', delivery]);
    };
    expect(await codesOf(runJob(job, await workContext({ fence: readOnly })))).toEqual(['target-read-only']);
    expect(finalPaths(job).filter((path) => existsSync(path))).toEqual([]);
    expect((await verdictOf(job)).verdict).toBe('held');
    execFileSync('mount', ['-o', 'remount,rw', delivery]);
    grow();
    await runJob(job, await workContext());
    expect(await verdictOf(job)).toEqual({ verdict: 'ready', codes: [] });
  });
});

describe('a final name that cannot be given', () => {
  test.each<[string, (job: Job) => void, string]>([
    [
      "somebody's file stands there",
      (job) => writeFileSync((finalPaths(job) as [string])[0], 'x'),
      'target-name-taken',
    ],
    [
      'the staged file is another one of the same size',
      (job) => {
        const folder = layout.profileFolder(job.deliveryFolder, 'small-vc3');
        for (const name of readdirSync(folder)) {
          if (!name.startsWith(STAGING_PREFIX)) continue;
          const bytes = readFileSync(join(folder, name));
          bytes[bytes.length >> 1] = ~(bytes[bytes.length >> 1] as number) & 0xff;
          // The new file may get the very number of the one that is gone.
          rmSync(join(folder, name));
          writeFileSync(join(folder, name), bytes);
        }
      },
      'staged-file-lost',
    ],
    ...further<[string, (job: Job) => void, string]>(
      ['a folder stands there', (job) => mkdirSync((finalPaths(job) as [string])[0]), 'target-name-taken'],
      [
        'the staged file is gone',
        (job) => {
          const folder = layout.profileFolder(job.deliveryFolder, 'small-vc3');
          for (const name of readdirSync(folder))
            if (name.startsWith(STAGING_PREFIX)) rmSync(join(folder, name));
        },
        'staged-file-lost',
      ],
    ),
  ])('at the last moment %s: held with that', async (_title, spoil, code) => {
    const { job } = await prepared([both[0] as string]);
    const fence = async (): Promise<void> => spoil(job);
    expect(await codesOf(runJob(job, await workContext({ fence })))).toEqual([code]);
    const { verdict, codes } = await verdictOf(job);
    expect(verdict).toBe('held');
    expect(codes).toContain(code);
  });
});

describe('a clock that jumps', () => {
  afterEach(() => {
    vi.useRealTimers();
  });

  test.each<readonly [string, number]>([
    ['back by a day', -86_400_000],
    ...further(['on by ten years', 10 * 365 * 86_400_000]),
  ])('%s in mid-job: the verdict does not ask what time it is', async (_title, jump) => {
    const { job } = await prepared([both[0] as string]);
    const start = Date.now();
    vi.useFakeTimers({ toFake: ['Date'], now: start });
    const fence = async (): Promise<void> => {
      vi.setSystemTime(start + jump);
    };
    await runJob(job, await workContext({ fence }));
    const { startedAt, finishedAt } = JSON.parse(readFileSync(reportPath(job), 'utf8')) as {
      startedAt: string;
      finishedAt: string;
    };
    // It did jump.
    expect(Math.sign(Date.parse(finishedAt) - Date.parse(startedAt))).toBe(Math.sign(jump));
    expect(await verdictOf(job)).toEqual({ verdict: 'ready', codes: [] });
    const { ino } = statSync((finalPaths(job) as [string])[0]);
    await runJob(job, await workContext());
    expect(statSync((finalPaths(job) as [string])[0]).ino).toBe(ino);
  });

  test.each([
    ['1970', 1],
    ['the year 2100', 4_102_444_800],
  ])('files and reports of %s are as good as others', async (_title, seconds) => {
    const { job, delivery } = finishedCopy();
    for (const name of filesBelow(delivery)) utimesSync(join(delivery, name), seconds, seconds);
    expect(await verdictOf(job)).toEqual({ verdict: 'ready', codes: [] });
    const { ino } = statSync((finalPaths(job) as [string])[0]);
    await runJob(job, await workContext());
    expect(statSync((finalPaths(job) as [string])[0]).ino).toBe(ino);
  });
});
