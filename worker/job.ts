/**
 * One job from claim to report:
 *   claim   may we, and is the clip as it was read
 *   resume  what stands finished already is left alone
 *   make    every deliverable beside its final name: from one decode (coded.ts), or from frames that threads read (master/apart.ts)
 *   prove   the trail of the decode is whole, and of this clip
 *   check   each staged deliverable measured from disk, against that trail (finish.ts, master/finish.ts)
 *   publish report `publishing`, final name, report `published` (finish.ts)
 * Every way out of it leaves reports on disk or throws; nothing unfinished ever stands under a final name.
 */
import { rm } from 'node:fs/promises';
import { extname } from 'node:path';
import { FindingError, finding } from '../findings/finding.ts';
import { isMasterWork, isMovieMasterWork, type Job } from '../ledger/job.ts';
import { layout } from '../ledger/layout.ts';
import { completeRecords, settleDeliverable } from '../ledger/settle.ts';
import { StagedFileLostError } from '../files/publish.ts';
import { sourceTrouble, subjectOf, toolchainTrouble, workerTrouble } from './claim.ts';
import { targetTrouble } from './classify.ts';
import { makeCoded, type StagedMovie } from './coded.ts';
import { type Deliverable, type JobContext, JobTrouble } from './context.ts';
import { decoderTroubles } from './decoder.ts';
import { writeFailure } from './finish.ts';
import { awaitedByOthers, publishLeftover } from './leftover.ts';
import { makeApart } from './master/apart.ts';
import type { StagedMovieMaster } from './master/encoder.ts';
import { byWay, type StagedMaster } from './master/making.ts';
import { type ReportContext, standing } from './report.ts';
import { deliveryOf, makeFolder, newToken, sweepStaging, targetStateOf } from './target.ts';

/** Throws JobTrouble; and the signal's reason when stopped. */
export async function runJob(job: Job, context: JobContext): Promise<void> {
  const report: ReportContext = {
    job,
    toolchain: context.toolchain,
    attempt: context.attempt,
    startedAt: new Date().toISOString(),
  };
  try {
    const refused =
      workerTrouble(job, context.workersLost ?? 0) ??
      toolchainTrouble(job, context.toolchain.fingerprint) ??
      (await sourceTrouble(job));
    if (refused !== null) throw new JobTrouble({ findings: [refused], again: false });
    const decoderless = await decoderTroubles(job);
    if (decoderless.length > 0) throw new JobTrouble({ findings: decoderless, again: false });
    await publishLeftovers(job, context);
    const open = await unfinished(job, context);
    if (open.length > 0) await makeAll(job, open, context, report);
  } catch (error) {
    context.signal.throwIfAborted();
    const trouble = troubleOf(error, job);
    const final = !trouble.again || context.lastAttempt;
    if (final) await writeFailures(job, trouble, report, context);
    throw trouble;
  }
}

function troubleOf(error: unknown, job: Job): JobTrouble {
  if (error instanceof JobTrouble) return error;
  // Once more: a share may give the file whole the next time.
  if (error instanceof FindingError)
    return new JobTrouble({
      findings: error.findings.map((item) => ({ ...item, ...subjectOf(job) })),
      again: true,
    });
  if (error instanceof StagedFileLostError)
    return new JobTrouble({
      findings: [finding('staged-file-lost', error.message, 'the file that was checked', subjectOf(job))],
      again: true,
    });
  const state = targetStateOf(error, deliveryOf(job.deliveryFolder));
  if (state !== null) return new JobTrouble(targetTrouble(state, job.deliveryFolder, subjectOf(job)));
  return new JobTrouble({
    findings: [finding('work-failed', (error as Error).message, 'no error', subjectOf(job))],
    again: true,
  });
}

async function publishLeftovers(job: Job, context: JobContext): Promise<void> {
  for (const deliverable of job.deliverables) {
    const report = await standing(job, deliverable);
    if (report !== null) await publishLeftover(job, deliverable, report, context.fence, context.signal);
  }
}

/** An earlier attempt may have got one of two deliverables through, or have died between final name and report. */
async function unfinished(job: Job, context: JobContext): Promise<Deliverable[]> {
  const open: Deliverable[] = [];
  for (const deliverable of job.deliverables) {
    const report = await standing(job, deliverable);
    const wanted = {
      contentDigest: job.clip.contentDigest,
      profileHash: deliverable.profileHash,
      toolchain: job.toolchain,
      outcome: deliverable.outcome,
    };
    const settled =
      report === null ? null : await settleDeliverable(report, job.deliveryFolder, wanted, context.signal);
    if (settled?.state !== 'finished') open.push(deliverable);
    else await completeRecords(settled, job.deliveryFolder);
  }
  return open;
}

async function makeAll(
  job: Job,
  open: readonly Deliverable[],
  context: JobContext,
  report: ReportContext,
): Promise<void> {
  const movies: StagedMovie[] = [];
  const masters: StagedMaster[] = [];
  const graded: StagedMovieMaster[] = [];
  for (const deliverable of open) {
    const { name } = deliverable.profile;
    const folder = layout.profileFolder(job.deliveryFolder, name);
    await makeFolder(job.deliveryFolder, folder);
    await sweepStaging(folder, () => awaitedByOthers(job, name));
    if (isMasterWork(deliverable))
      masters.push({ deliverable, staged: layout.stagingFolder(job.deliveryFolder, name, newToken()) });
    else {
      const staged = layout.staging(
        job.deliveryFolder,
        name,
        newToken(),
        extname(deliverable.outcome.fileName).slice(1),
      );
      if (isMovieMasterWork(deliverable)) graded.push({ deliverable, staged });
      else movies.push({ deliverable, staged });
    }
  }
  // What code values mean is the clip's, so that all masters of a movie go one way; raw frames are developed as each profile says.
  const groups = byWay(masters, graded);
  try {
    const { raw, declared } = job.facts;
    const troubles =
      raw === undefined && declared === undefined
        ? await makeCoded(job, movies, groups[0] ?? null, context, report)
        : await makeApart(job, groups, context, report);
    // What passed is published; only what did not is made again.
    if (troubles.length > 0)
      throw new JobTrouble({
        findings: troubles.flatMap((item) => item.findings),
        again: troubles.some((item) => item.again),
      });
  } finally {
    for (const { staged } of [...movies, ...masters, ...graded])
      await rm(staged, { recursive: true, force: true }).catch(() => undefined);
  }
}

/** A failed report for every deliverable that has neither a finished one nor its own failure of this attempt. */
async function writeFailures(
  job: Job,
  trouble: JobTrouble,
  report: ReportContext,
  context: JobContext,
): Promise<void> {
  try {
    for (const deliverable of await unfinished(job, context)) {
      const own = await standing(job, deliverable);
      if (own?.state === 'failed' && own.run === job.run && own.startedAt === report.startedAt) continue;
      const about = trouble.findings.filter(
        (item) => item.profile === undefined || item.profile === deliverable.profile.name,
      );
      await makeFolder(job.deliveryFolder, layout.reportsFolder(job.deliveryFolder));
      await writeFailure(job, deliverable, report, about.length > 0 ? about : trouble.findings, [], null);
    }
  } catch (error) {
    // A target that takes no report: the queue carries the reason, and the coordinator asks the target itself.
    if (targetStateOf(error, deliveryOf(job.deliveryFolder)) === null) throw error;
  }
}
