/** One job on real encoders, and on stand-ins that spoil it: nothing wrong ever stands under a final name, and the reason is on disk. */
import { execFileSync } from 'node:child_process';
import {
  chmodSync,
  cpSync,
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  rmSync,
  truncateSync,
  utimesSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { layout } from '../../ledger/layout.ts';
import { deliverableReportSchema, type DeliverableReport } from '../../ledger/report.ts';
import type { Job } from '../../ledger/job.ts';
import { readRecord } from '../../ledger/store.ts';
import { JobFailure } from '../../worker/context.ts';
import { runJob } from '../../worker/job.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';
import { makeMovie } from '../support/media.ts';
import { needsRoot } from '../support/root.ts';
import { jobFor, workContext } from '../support/work.ts';

const oneProfile = ['test/fixtures/profiles/small-vc3.yaml'];

async function reportOf(job: Job, profile: string): Promise<DeliverableReport> {
  const read = await readRecord(
    layout.deliverableReport(job.deliveryFolder, job.clip.id, profile),
    deliverableReportSchema,
  );
  if (read.state !== 'read') throw new Error(`no report of ${profile}: ${read.state}`);
  return read.value;
}

async function prepared(
  options: Parameters<typeof makeMovie>[1] = {},
  wanted?: readonly string[],
): Promise<{ job: Job; source: string; folder: string }> {
  const folder = freshFolder('job');
  const source = await makeMovie(join(folder, 'A001', 'A001C001.mov'), { frames: 24, ...options });
  return { job: await jobFor(source, join(folder, 'delivery'), wanted), source, folder };
}

/** A program in place of ffmpeg: the real one for everything but an encode; `body` runs for that, with `"$@"` and $out, the file that is written. */
function standIn(folder: string, body: string): string {
  const path = join(folder, 'stand-in');
  writeFileSync(
    path,
    `#!/bin/sh\nout=$(printf '%s\\n' "$@" | sed -n 's/.*]file:\\([^|]*\\)|.*/\\1/p' | tail -n 1)\n[ -n "$out" ] || exec ffmpeg "$@"\n${body}\n`,
  );
  chmodSync(path, 0o755);
  return path;
}

async function failureOf(running: Promise<void>): Promise<JobFailure> {
  const error = await running.then(
    () => null,
    (caught: unknown) => caught,
  );
  expect(error).toBeInstanceOf(JobFailure);
  return error as JobFailure;
}

let both: Job;
beforeAll(async () => {
  const folder = join(sharedFolder, 'finished-job');
  const source = await makeMovie(join(folder, 'A001', 'A001C001.mov'), { frames: 24 });
  both = await jobFor(source, join(folder, 'delivery'));
  await runJob(both, await workContext());
});

/** The finished job, asked for its VC-3 alone, with a copy of its delivery: what lies there names no folder. */
function finishedCopy(): { readonly job: Job; readonly folder: string } {
  const folder = freshFolder('job');
  const deliveryFolder = join(folder, 'delivery', both.day, both.roll);
  cpSync(both.deliveryFolder, deliveryFolder, { recursive: true });
  const deliverables = both.deliverables.filter(({ profile }) => profile.name === 'small-vc3');
  return { job: { ...both, deliveryFolder, deliverables }, folder };
}

test('both deliverables of a job are published from one command, with every required check passed', async () => {
  const job = both;
  for (const { profile, outcome } of job.deliverables) {
    const report = await reportOf(job, profile.name);
    expect(report.state).toBe('published');
    expect(report.checks.map((check) => [check.check, check.status]).sort()).toEqual(
      [
        ...profile.checks,
        'encoder-input',
        // With text in the picture.
        ...(profile.checks.some((name) => name === 'burn-in') ? ['burn-in-drawn'] : []),
      ]
        .sort()
        .map((name) => [name, 'passed']),
    );
    expect(report.file?.bytes).toBe(
      readFileSync(layout.deliverable(job.deliveryFolder, profile.name, outcome.fileName)).length,
    );
  }
  const [first, second] = await Promise.all(
    job.deliverables.map(({ profile }) => reportOf(job, profile.name)),
  );
  expect(first?.command).toEqual(second?.command);
});

test('a second run of the same job makes nothing again; one that died between the final name and its report is settled without an encode', async () => {
  const { job, folder } = finishedCopy();
  const path = layout.deliverable(job.deliveryFolder, 'small-vc3', 'A001C001.mov');
  utimesSync(path, 1_000_000, 1_000_000);
  const refusing = standIn(folder, 'exit 9');
  await runJob(job, await workContext({ ffmpeg: refusing }));
  expect((await reportOf(job, 'small-vc3')).state).toBe('published');
  const report = layout.deliverableReport(job.deliveryFolder, 'A001C001', 'small-vc3');
  writeFileSync(
    report,
    readFileSync(report, 'utf8').replace('"state": "published"', '"state": "publishing"'),
  );
  expect((await reportOf(job, 'small-vc3')).state).toBe('publishing');
  await runJob(job, await workContext({ ffmpeg: refusing }));
  expect((await reportOf(job, 'small-vc3')).state).toBe('published');
});

describe('an encoder that spoils its work', () => {
  test.each<[string, string, string, boolean]>([
    [
      'exits 0 after a short file',
      'ffmpeg "$@" && ffmpeg -v error -y -i "$out" -frames:v 20 -c copy -map 0 "$out.mov" && mv "$out.mov" "$out"',
      'frame-count-differs',
      true,
    ],
    ['fails', 'exit 7', 'encoder-failed', true],
    ['is killed', 'kill -9 $$', 'encoder-killed', true],
    ['hangs', 'sleep 60', 'encoder-stalled', true],
    ['removes its file again', 'ffmpeg "$@"; rm -f "$out"', 'encoder-wrote-nothing', true],
    ['cuts its file off', 'ffmpeg "$@" && truncate -s -20000 "$out"', 'deliverable-unreadable', true],
    ...further<[string, string, string, boolean]>([
      'exits 0 and writes nothing',
      'exit 0',
      'encoder-failed',
      true,
    ]),
  ])('%s: %s', async (_title, body, code, retryable) => {
    const { job, folder } = await prepared({}, oneProfile);
    const failure = await failureOf(
      runJob(
        job,
        // Silence is short for the one that is silent: on a busy machine a real encoder may be slow to begin.
        await workContext({
          ffmpeg: standIn(folder, body),
          stallMilliseconds: code === 'encoder-stalled' ? 1_500 : 60_000,
        }),
      ),
    );
    expect(failure.findings.map((item) => item.code)).toContain(code);
    expect(failure.retryable).toBe(retryable);
    const report = await reportOf(job, 'small-vc3');
    expect(report.state).toBe('failed');
    expect(report.findings.map((item) => item.code)).toContain(code);
    // Nothing stands, and nothing unfinished lies about.
    expect(readdirSync(layout.profileFolder(job.deliveryFolder, 'small-vc3'))).toEqual([]);
  });

  test('before the last attempt no failure is written down', async () => {
    const { job, folder } = await prepared({}, oneProfile);
    await failureOf(
      runJob(job, await workContext({ ffmpeg: standIn(folder, 'exit 7'), lastAttempt: false })),
    );
    expect(existsSync(layout.deliverableReport(job.deliveryFolder, 'A001C001', 'small-vc3'))).toBe(false);
  });
});

test('a clip with a corrupt span in the middle is not made, and no other attempt is asked for', async () => {
  const { job, source } = await prepared({ frames: 48, size: '640x360' }, oneProfile);
  const bytes = readFileSync(source);
  for (let index = 0; index < 20_000; index += 1)
    bytes[Math.floor(bytes.length / 2) + index] = (index * 197 + 13) % 256;
  writeFileSync(source, bytes);
  const failure = await failureOf(runJob(job, await workContext()));
  expect(failure.findings.map((item) => item.code)).toEqual(['clip-decode-error']);
  expect(failure.retryable).toBe(false);
});

test('a clip that is not as long as intake read it is refused before anything is made', async () => {
  const { job, source } = await prepared({}, oneProfile);
  truncateSync(source, job.clip.bytes - 1);
  expect((await failureOf(runJob(job, await workContext()))).findings[0]?.code).toBe('source-changed');
  rmSync(source);
  expect((await failureOf(runJob(job, await workContext()))).findings[0]?.code).toBe('source-missing');
});

test('a file under the final name that is not ours is left as it is', async () => {
  const { job } = await prepared({}, oneProfile);
  const path = layout.deliverable(job.deliveryFolder, 'small-vc3', 'A001C001.mov');
  mkdirSync(layout.profileFolder(job.deliveryFolder, 'small-vc3'), { recursive: true });
  writeFileSync(path, 'somebody else');
  expect((await failureOf(runJob(job, await workContext()))).findings[0]?.code).toBe('target-name-taken');
  expect(readFileSync(path, 'utf8')).toBe('somebody else');
});

test('an older file of ours is replaced, also after an attempt in between that failed', async () => {
  const { job, folder } = finishedCopy();
  const path = layout.deliverable(job.deliveryFolder, 'small-vc3', 'A001C001.mov');
  const older = readFileSync(path);
  // Asked for again, of a clip that carries another timecode: other bytes.
  const second = await jobFor(
    await makeMovie(join(folder, 'again', 'A001C001.mov'), { frames: 24, timecode: '05:00:00:00' }),
    join(folder, 'delivery'),
    oneProfile,
  );
  const asked = { ...second, clip: { ...second.clip, contentDigest: 'f'.repeat(64) } };
  await failureOf(runJob(asked, await workContext({ ffmpeg: standIn(folder, 'exit 7') })));
  expect((await reportOf(job, 'small-vc3')).state).toBe('failed');
  await runJob(asked, await workContext());
  expect((await reportOf(job, 'small-vc3')).state).toBe('published');
  expect(readFileSync(path).equals(older)).toBe(false);
});

test('a job whose lock is lost publishes nothing', async () => {
  const { job } = await prepared({}, oneProfile);
  const lost = async (): Promise<void> => {
    throw new Error('the lock on this job is lost');
  };
  await failureOf(runJob(job, await workContext({ fence: lost })));
  expect(existsSync(layout.deliverable(job.deliveryFolder, 'small-vc3', 'A001C001.mov'))).toBe(false);
});

test('a delivery that is gone is not made again below an empty mount point', async () => {
  const { job, folder } = await prepared({}, oneProfile);
  rmSync(join(folder, 'delivery'), { recursive: true });
  expect((await failureOf(runJob(job, await workContext()))).findings[0]?.code).toBe('target-gone');
  expect(existsSync(join(folder, 'delivery'))).toBe(false);
});

test('a target that fills up while the encoder writes is reported as full', async (context) => {
  needsRoot(context);
  const { job, folder } = await prepared({ frames: 48, size: '640x360' }, oneProfile);
  const delivery = join(folder, 'delivery');
  execFileSync('mount', ['-t', 'tmpfs', '-o', 'size=400k', 'tmpfs', delivery]);
  try {
    mkdirSync(job.deliveryFolder, { recursive: true });
    const failure = await failureOf(runJob(job, await workContext()));
    expect(failure.findings.map((item) => item.code)).toEqual(['target-full']);
    expect(readdirSync(layout.profileFolder(job.deliveryFolder, 'small-vc3'))).toEqual([]);
  } finally {
    execFileSync('umount', [delivery]);
  }
});

test('a target that is mounted read-only is reported as such', async (context) => {
  needsRoot(context);
  const { job, folder } = await prepared({}, oneProfile);
  const delivery = join(folder, 'delivery');
  execFileSync('mount', ['-t', 'tmpfs', '-o', 'size=400k', 'tmpfs', delivery]);
  try {
    mkdirSync(job.deliveryFolder, { recursive: true });
    execFileSync('mount', ['-o', 'remount,ro', delivery]);
    expect((await failureOf(runJob(job, await workContext()))).findings.map((item) => item.code)).toEqual([
      'target-read-only',
    ]);
  } finally {
    execFileSync('umount', [delivery]);
  }
});
