/**
 * One job from claim to report:
 *   claim   may we, and is the clip as it was read
 *   find    what is there of each deliverable, once (found.ts): what is finished already is left alone
 *   make    every deliverable beside its final name: from one decode (ffmpeg-frames.ts), or from frames that
 *           threads read (master/masters-without-ffmpeg.ts)
 *   prove   the fingerprints of the decode are whole, and of this clip (proof.ts)
 *   check   each staged deliverable measured from disk, against those fingerprints (publish-deliverable.ts,
 *           master/publish-master.ts)
 *   publish report `publishing`, final name, report `published` (publish-deliverable.ts)
 *   stills  of a few frames, made, checked and published once all deliverables are (stills/step.ts)
 * Every way out of it leaves reports on disk or throws; nothing unfinished ever stands under a final name.
 */
import { rm } from 'node:fs/promises';
import { extname } from 'node:path';
import { FindingError, finding } from '../findings/finding.ts';
import { isMasterWork, isMovieMasterWork, type Job } from '../ledger/job.ts';
import { layout } from '../ledger/layout.ts';
import { newToken } from '../ledger/owner.ts';
import { removeSegments } from '../ledger/segments.ts';
import { ClaimOvertaken } from '../ledger/claims.ts';
import { completeRecords } from '../ledger/completion.ts';
import { StagedFileLostError } from '../files/publish.ts';
import { sourceFailure, sourceSeen, subjectOf, toolchainFailure, workerTrouble } from './claim.ts';
import { targetFailure, type Failure } from './classify.ts';
import { makeFromFfmpegFrames } from './ffmpeg-frames.ts';
import type { StagedMovie } from './recipe-run.ts';
import { type Deliverable, type JobContext, JobFailure, NotForThisMachine } from './context.ts';
import { machinesTrouble } from './whose.ts';
import { scratchFailure } from './scratch.ts';
import { decoderFailures } from './decoder.ts';
import { refuseName, writeFailure } from './publish-deliverable.ts';
import { findDeliverables } from './found.ts';
import { countBeside } from './beside.ts';
import { startJobClock } from './job-clock.ts';
import type { JobRun } from './job-run.ts';
import { awaitedByOthers, publishStaged } from './resume-publish.ts';
import { frameFailure, makeWithoutFfmpeg } from './master/masters-without-ffmpeg.ts';
import { stagedSidecars } from './sidecars.ts';
import type { StagedMovieMaster } from './master/encoder.ts';
import { byWay, type StagedMaster } from './master/making.ts';
import { isCut, isSegment, workOfSegments } from './segments/cut.ts';
import { makeSegment } from './segments/make-segment.ts';
import { SegmentsIncomplete } from './segments/incomplete.ts';
import { makeStills, writeStillsFailure } from './stills/step.ts';
import { deliveryOf, makeFolder, sweepStaging, targetStateOf } from './target.ts';
import { viewFrames } from './view.ts';

/** Throws JobFailure; NotForThisMachine, which leaves no report; and the signal's reason when stopped. */
export async function runJob(job: Job, given: JobContext): Promise<void> {
  const view = viewFrames(job, given);
  const { context } = view;
  const startedAt = new Date().toISOString();
  const clock = startJobClock();
  let run: JobRun | null = null;
  // Before it is claimed: what changes from here on is found.
  const seen = await sourceSeen(job);
  const beside = await countBeside();
  const begin = async (): Promise<JobRun> => {
    const found = await findDeliverables(job, context.signal);
    for (const one of found)
      if (one.there === 'published') await completeRecords(one.completion, job.deliveryFolder);
    return { job, context, startedAt, found, concluded: new Set(), sourceSeen: seen, clock, beside };
  };
  try {
    await claim(job, context);
    run = await begin();
    const failures = await refuseOthers(run);
    const open = await publishStagedOf(run);
    if (isSegment(job)) {
      // Of a clip that is finished, or will not be, nothing is cut.
      if (failures.length > 0) throw joined(failures);
      if (open.length > 0) await makeSegment(run, job);
      return;
    }
    if (open.length > 0) failures.push(...(await makeAll(run, open)));
    // What passed is published; only what did not is made again.
    if (failures.length > 0) throw joined(failures);
    // Published: nobody joins them again.
    if (isCut(job)) await removeSegments(job.deliveryFolder, job.clip.id, workOfSegments(job));
    await stills(run);
  } catch (error) {
    context.signal.throwIfAborted();
    // Somebody else publishes it, or has: nothing is to be said of it.
    if (error instanceof ClaimOvertaken || error instanceof SegmentsIncomplete) throw error;
    const failure = failureOf(error, job);
    const machines =
      context.machine === null ? null : machinesTrouble(failure.findings, job, context.machine);
    if (machines !== null) throw new NotForThisMachine(machines);
    try {
      if (!failure.retryable || context.lastAttempt) await writeFailures(run ?? (await begin()), failure);
    } catch (unproven) {
      // A target that takes no report: the queue carries the reason, and the coordinator asks the target itself.
      if (targetStateOf(unproven, deliveryOf(job.deliveryFolder)) === null) throw unproven;
    }
    throw failure;
  } finally {
    await view.end();
    await beside.end();
  }
}

/** Throws JobFailure when this machine, or the clip as it is now, is not what the job was planned with. */
async function claim(job: Job, { toolchain, workersLost, machinesLost }: JobContext): Promise<void> {
  const refused =
    workerTrouble(job, workersLost ?? 0, machinesLost) ??
    toolchainFailure(job, toolchain.digest) ??
    (await sourceFailure(job));
  const findings = refused === null ? await decoderFailures(job) : [refused];
  if (findings.length > 0) throw new JobFailure({ findings, retryable: false });
}

async function stills(run: JobRun): Promise<void> {
  run.clock.enter('stills');
  try {
    await makeStills(run);
  } catch (error) {
    run.context.signal.throwIfAborted();
    throw frameFailure(error, run.job) ?? error;
  }
}

/** What has somebody else's thing under its name is refused before hours go into it. */
async function refuseOthers(run: JobRun): Promise<Failure[]> {
  const failures: Failure[] = [];
  for (const found of run.found) {
    if (found.there !== 'others') continue;
    const request = { run, deliverable: found.deliverable, command: [], checked: null };
    failures.push(await refuseName(request, found.what));
  }
  return failures;
}

/** Publishes what a crash kept from its final name; gives what is still to be made. */
async function publishStagedOf(run: JobRun): Promise<Deliverable[]> {
  const open: Deliverable[] = [];
  for (const found of run.found) {
    const now = found.there === 'staged' ? await publishStaged(run.job, found, run.context) : found;
    if (found.there === 'staged' && now.there === 'published') {
      await completeRecords(now.completion, run.job.deliveryFolder);
      run.concluded.add(now.deliverable);
    }
    if (now.there === 'nothing') open.push(now.deliverable);
  }
  return open;
}

function joined(failures: readonly Failure[]): JobFailure {
  return new JobFailure({
    findings: failures.flatMap((item) => item.findings),
    retryable: failures.some((item) => item.retryable),
  });
}

function failureOf(error: unknown, job: Job): JobFailure {
  if (error instanceof JobFailure) return error;
  // Once more: a share may give the file whole the next time.
  if (error instanceof FindingError)
    return new JobFailure({
      findings: error.findings.map((item) => ({ ...item, ...subjectOf(job) })),
      retryable: true,
    });
  if (error instanceof StagedFileLostError)
    return new JobFailure({
      findings: [finding('staged-file-lost', error.message, 'the file that was checked', subjectOf(job))],
      retryable: true,
    });
  const state = targetStateOf(error, deliveryOf(job.deliveryFolder));
  if (state !== null) return new JobFailure(targetFailure(state, job.deliveryFolder, subjectOf(job)));
  // A delivery may lie in the folder of temporary files: what speaks of it is not of that.
  const scratch = scratchFailure(error, subjectOf(job));
  if (scratch !== null) return new JobFailure(scratch);
  return new JobFailure({
    findings: [finding('work-failed', (error as Error).message, 'no error', subjectOf(job))],
    retryable: true,
  });
}

async function makeAll(run: JobRun, open: readonly Deliverable[]): Promise<Failure[]> {
  run.clock.enter('make');
  const { job } = run;
  const movies: StagedMovie[] = [];
  const developed: StagedMovie[] = [];
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
      else if (deliverable.outcome.shown?.from === 'developed') developed.push({ deliverable, staged });
      else movies.push({ deliverable, staged });
    }
  }
  // What code values mean is the clip's, so that all masters of a movie go one way; raw frames are developed as each profile says.
  const groups = byWay(masters, graded, developed);
  try {
    const { raw, declared, exr } = job.facts;
    return raw === undefined && declared === undefined && exr?.reader === undefined
      ? await makeFromFfmpegFrames(run, movies, groups[0] ?? null)
      : await makeWithoutFfmpeg(run, groups);
  } finally {
    const sidecars = graded.flatMap(({ deliverable, staged }) => stagedSidecars(deliverable, staged));
    for (const staged of [
      ...[...movies, ...developed, ...masters, ...graded].map((one) => one.staged),
      ...sidecars,
    ])
      await rm(staged, { recursive: true, force: true }).catch(() => undefined);
  }
}

/** A failed report for every deliverable that is not finished and has no report of this attempt yet. */
async function writeFailures(run: JobRun, failure: JobFailure): Promise<void> {
  for (const { deliverable, there } of run.found) {
    if (there === 'published' || run.concluded.has(deliverable)) continue;
    const about = failure.findings.filter(
      (item) => item.profile === undefined || item.profile === deliverable.profile.name,
    );
    const request = { run, deliverable, command: [], checked: null };
    await writeFailure(request, about.length > 0 ? about : failure.findings);
  }
  await writeStillsFailure(run, failure.findings);
}
