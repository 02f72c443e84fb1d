/**
 * One job from claim to report:
 *   claim   may we, and is the clip as it was read
 *   find    what is there of each deliverable, once (found.ts): what is finished already is left alone
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
import { completeRecords } from '../ledger/settle.ts';
import { StagedFileLostError } from '../files/publish.ts';
import { sourceTrouble, subjectOf, toolchainTrouble, workerTrouble } from './claim.ts';
import { targetTrouble, type Trouble } from './classify.ts';
import { makeCoded, type StagedMovie } from './coded.ts';
import { type Deliverable, type JobContext, JobTrouble } from './context.ts';
import { decoderTroubles } from './decoder.ts';
import { refuseName, writeFailure } from './finish.ts';
import { findDeliverables } from './found.ts';
import type { JobRun } from './job-run.ts';
import { awaitedByOthers, publishStaged } from './leftover.ts';
import { makeApart } from './master/apart.ts';
import type { StagedMovieMaster } from './master/encoder.ts';
import { byWay, type StagedMaster } from './master/making.ts';
import { deliveryOf, makeFolder, newToken, sweepStaging, targetStateOf } from './target.ts';

/** Throws JobTrouble; and the signal's reason when stopped. */
export async function runJob(job: Job, context: JobContext): Promise<void> {
  const startedAt = new Date().toISOString();
  let run: JobRun | null = null;
  const begin = async (): Promise<JobRun> => {
    const found = await findDeliverables(job, context.signal);
    for (const one of found)
      if (one.there === 'published') await completeRecords(one.settled, job.deliveryFolder);
    return { job, context, startedAt, found, concluded: new Set() };
  };
  try {
    await claim(job, context);
    run = await begin();
    const troubles = await refuseOthers(run);
    const open = await publishStagedOf(run);
    if (open.length > 0) troubles.push(...(await makeAll(run, open)));
    // What passed is published; only what did not is made again.
    if (troubles.length > 0) throw joined(troubles);
  } catch (error) {
    context.signal.throwIfAborted();
    const trouble = troubleOf(error, job);
    try {
      if (!trouble.again || context.lastAttempt) await writeFailures(run ?? (await begin()), trouble);
    } catch (untold) {
      // A target that takes no report: the queue carries the reason, and the coordinator asks the target itself.
      if (targetStateOf(untold, deliveryOf(job.deliveryFolder)) === null) throw untold;
    }
    throw trouble;
  }
}

/** Throws JobTrouble when this machine, or the clip as it is now, is not what the job was planned with. */
async function claim(job: Job, { toolchain, workersLost }: JobContext): Promise<void> {
  const refused =
    workerTrouble(job, workersLost ?? 0) ??
    toolchainTrouble(job, toolchain.fingerprint) ??
    (await sourceTrouble(job));
  const findings = refused === null ? await decoderTroubles(job) : [refused];
  if (findings.length > 0) throw new JobTrouble({ findings, again: false });
}

/** What has somebody else's thing under its name is refused before hours go into it. */
async function refuseOthers(run: JobRun): Promise<Trouble[]> {
  const troubles: Trouble[] = [];
  for (const found of run.found) {
    if (found.there !== 'others') continue;
    const request = { run, deliverable: found.deliverable, command: [], checked: null };
    troubles.push(await refuseName(request, found.what));
  }
  return troubles;
}

/** Publishes what a crash kept from its final name; gives what is still to be made. */
async function publishStagedOf(run: JobRun): Promise<Deliverable[]> {
  const open: Deliverable[] = [];
  for (const found of run.found) {
    const now = found.there === 'staged' ? await publishStaged(run.job, found, run.context) : found;
    if (found.there === 'staged' && now.there === 'published') {
      await completeRecords(now.settled, run.job.deliveryFolder);
      run.concluded.add(now.deliverable);
    }
    if (now.there === 'nothing') open.push(now.deliverable);
  }
  return open;
}

function joined(troubles: readonly Trouble[]): JobTrouble {
  return new JobTrouble({
    findings: troubles.flatMap((item) => item.findings),
    again: troubles.some((item) => item.again),
  });
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

async function makeAll(run: JobRun, open: readonly Deliverable[]): Promise<Trouble[]> {
  const { job } = run;
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
    return raw === undefined && declared === undefined
      ? await makeCoded(run, movies, groups[0] ?? null)
      : await makeApart(run, groups);
  } finally {
    for (const { staged } of [...movies, ...masters, ...graded])
      await rm(staged, { recursive: true, force: true }).catch(() => undefined);
  }
}

/** A failed report for every deliverable that is not finished and has no report of this attempt yet. */
async function writeFailures(run: JobRun, trouble: JobTrouble): Promise<void> {
  for (const { deliverable, there } of run.found) {
    if (there === 'published' || run.concluded.has(deliverable)) continue;
    const about = trouble.findings.filter(
      (item) => item.profile === undefined || item.profile === deliverable.profile.name,
    );
    const request = { run, deliverable, command: [], checked: null };
    await writeFailure(request, about.length > 0 ? about : trouble.findings);
  }
}
