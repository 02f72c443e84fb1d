/** From a staged deliverable to its final name and its report: check, conclude, publish. */
import { codeOf } from '../files/error-code.ts';
import { basename } from 'node:path';
import { checkDeliverable, type CheckReport } from '../check/index.ts';
import type { FedReport } from '../check/master/fed.ts';
import { type Finding, finding } from '../findings/finding.ts';
import type { Job, MovieMasterWork, MovieWork } from '../ledger/job.ts';
import { layout } from '../ledger/layout.ts';
import { storeListing } from '../ledger/listing.ts';
import type { DeliverableReport } from '../ledger/report.ts';
import { ownDigests } from '../ledger/settle.ts';
import { type FolderDigest, isFolderDigest } from '../files/folder-digest.ts';
import type { Payload } from '../proof/payload.ts';
import { publishDeliverable } from '../files/publish-folder.ts';
import { checkNames } from '../profiles/schema.ts';
import { subjectOf } from './claim.ts';
import { targetTrouble, type Trouble } from './classify.ts';
import { type Deliverable, type JobContext, progressOf } from './context.ts';
import type { Proof } from './proof.ts';
import { failedReport, type ReportContext, standing, writeReport, writtenReport } from './report.ts';
import { askTarget } from './target.ts';

/** What a deliverable is proved by: the trail of its source, and what left its encoders. */
export type Evidence = Proof & {
  readonly encoded: Payload | null /** Of a movie for grading: what was fed to its encoder, against the source. */;
  readonly fed?: FedReport;
};

/** A movie: checked against its evidence, then published. Gives what kept it from that. */
export async function finish(
  job: Job,
  { deliverable, staged }: { readonly deliverable: MovieWork | MovieMasterWork; readonly staged: string },
  command: readonly string[],
  evidence: Evidence,
  context: JobContext,
  report: ReportContext,
): Promise<Trouble | null> {
  const subject = { ...subjectOf(job), profile: deliverable.profile.name };
  const asked: readonly string[] = deliverable.profile.checks;
  let checked: CheckReport;
  try {
    checked = await checkDeliverable({
      path: staged,
      outcome: deliverable.outcome,
      checks: checkNames.filter((name) => asked.includes(name)),
      sourceFacts: job.facts,
      sourceTrail: evidence.trail,
      encoded: evidence.encoded,
      tools: context.tools,
      threads: context.threads,
      signal: context.signal,
      subject,
      onFrames: progressOf('check', deliverable.outcome.frames, context),
    });
  } catch (error) {
    context.signal.throwIfAborted();
    if (codeOf(error) !== 'ENOENT') throw error;
    const state = await askTarget(staged.slice(0, staged.lastIndexOf('/')));
    if (state !== 'good') return targetTrouble(state, job.deliveryFolder, subject);
    return {
      findings: [
        finding('encoder-wrote-nothing', 'no file', `${deliverable.outcome.fileName}, staged`, subject),
      ],
      again: true,
    };
  }
  const payload = { streams: (evidence.encoded?.streams ?? []).map((stream) => ({ ...stream })) };
  return await conclude(
    job,
    deliverable,
    staged,
    withFed(checked, evidence.fed, deliverable.profile.name),
    command,
    { file: evidence.file, payload },
    context,
    report,
  );
}

function withFed(checked: CheckReport, fed: FedReport | undefined, profile: string): CheckReport {
  if (fed === undefined) return checked;
  return {
    ...checked,
    results: [...checked.results, ...fed.results],
    findings: [...checked.findings, ...fed.findings.map((item) => ({ ...item, profile }))],
    passed: checked.passed && fed.passed,
  };
}

/** What a published deliverable's report names as its proof. */
export interface Proved {
  readonly file: Proof['file'];
  readonly payload: NonNullable<DeliverableReport['payload']>;
}

/** What passed is published, what did not is told; after the last attempt its report says so too. */
export async function conclude(
  job: Job,
  deliverable: Deliverable,
  staged: string,
  checked: CheckReport,
  command: readonly string[],
  proved: Proved,
  context: JobContext,
  report: ReportContext,
): Promise<Trouble | null> {
  if (!checked.passed) {
    if (context.lastAttempt) await writeFailure(job, deliverable, report, checked.findings, command, checked);
    return { findings: checked.findings, again: true };
  }
  const total = deliverable.outcome.frames;
  context.onProgress({ phase: 'publish', frames: total, total, framesPerSecond: 0 });
  return await publish(job, deliverable, staged, checked, command, proved, context, report);
}

async function publish(
  job: Job,
  deliverable: Deliverable,
  staged: string,
  checked: CheckReport,
  command: readonly string[],
  evidence: Proved,
  context: JobContext,
  report: ReportContext,
): Promise<Trouble | null> {
  const { fileName } = deliverable.outcome;
  const path = `${deliverable.profile.name}/${fileName}`;
  const older = ownDigests(await standing(job, deliverable), path);
  // Before the report that names it: no report ever points at a trail that is not there.
  const folder: FolderDigest | null = isFolderDigest(checked.digest) ? checked.digest : null;
  const proved = {
    trail: await evidence.file(),
    payload: evidence.payload,
    ...(folder === null
      ? {}
      : { listing: await storeListing(job.deliveryFolder, job.clip.id, deliverable.profile.name, folder) }),
  };
  const file = {
    path,
    bytes: checked.bytes,
    xxh128: checked.xxh128,
    sha256: checked.digest.sha256,
    ...(folder === null ? {} : { files: folder.files.length }),
  };
  const written = writtenReport(report, deliverable, file, proved, older, command, checked);
  await context.fence();
  await writeReport(job, deliverable, {
    ...written,
    state: 'publishing',
    ...(folder === null ? {} : { staged: basename(staged) }),
  });
  const outcome = await publishDeliverable({
    staged,
    final: layout.deliverable(job.deliveryFolder, deliverable.profile.name, fileName),
    checked: checked.digest,
    isOurs: (digest) => older.includes(digest),
    signal: context.signal,
  });
  if (outcome.kind === 'taken') {
    const told = finding('target-name-taken', outcome.found, 'a free name, or a file of ours', {
      ...subjectOf(job),
      profile: deliverable.profile.name,
      file: path,
    });
    await writeFailure(job, deliverable, report, [told], command, checked);
    return { findings: [told], again: false };
  }
  await writeReport(job, deliverable, {
    ...written,
    state: 'published',
    finishedAt: new Date().toISOString(),
  });
  return null;
}

export async function writeFailure(
  job: Job,
  deliverable: Deliverable,
  report: ReportContext,
  findings: readonly Finding[],
  command: readonly string[],
  checked: CheckReport | null,
): Promise<void> {
  const older = ownDigests(
    await standing(job, deliverable),
    `${deliverable.profile.name}/${deliverable.outcome.fileName}`,
  );
  await writeReport(job, deliverable, failedReport(report, deliverable, findings, older, command, checked));
}
