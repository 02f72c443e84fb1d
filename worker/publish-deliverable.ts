/** From a staged deliverable to its final name and its report: check, conclude, publish. */
import { codeOf } from '../files/error-code.ts';
import { basename } from 'node:path';
import { checkDeliverable, type CheckReport } from '../check/index.ts';
import type { SeenPictures } from '../check/pictures.ts';
import type { WhileMadeReport } from '../check/while-made.ts';
import { type Finding, finding } from '../findings/finding.ts';
import type { MovieMasterWork, MovieWork } from '../ledger/job.ts';
import { layout } from '../ledger/layout.ts';
import { storeChecksumList } from '../ledger/checksum-list.ts';
import type { DeliverableReport } from '../ledger/report.ts';
import { takeAfterFolder } from '../files/belonging.ts';
import { type FolderDigest, isFolderDigest } from '../files/folder-digest.ts';
import type { Bitstream } from '../proof/bitstream.ts';
import type { ContentLight } from '../proof/light/form.ts';
import type { ErrorSketch } from '../proof/sketch/form.ts';
import { publishDeliverable, seenPublished } from '../files/publish-folder.ts';
import { publishTogether, type StagedFile } from '../files/publish-together.ts';
import { checkNames } from '../profiles/schema.ts';
import { subjectOf } from './claim.ts';
import { targetFailure, type Failure } from './classify.ts';
import { type Deliverable, progressOf } from './context.ts';
import { type JobRun, oursOf } from './job-run.ts';
import type { Proof } from './proof.ts';
import { storeSketch } from './sketches.ts';
import { obsoleteBeside } from './sidecars.ts';
import { claimFor, writeClaimed } from './claims.ts';
import { failedReport, type ReportRequest, spentOf, writtenReport } from './report.ts';
import { askTarget, makeFolder } from './target.ts';

/** What a deliverable is proved by: the fingerprints of its source, and what left its encoders. */
export type Evidence = Proof & {
  readonly encoded: Bitstream | null;
  /** How much light was measured in what its encoder was given, as it was written into the file; absent: nothing is said of it. */
  readonly contentLight?: ContentLight | null;
  /** The same light, read a second time. */
  readonly lightLevels?: WhileMadeReport;
  /** What was fed to its encoder, against the source. */
  readonly encoderInput?: WhileMadeReport;
  /** From the source's frames to scene-linear values. */
  readonly development?: WhileMadeReport;
  /** From what was recorded or developed to what is shown. */
  readonly colourWay?: WhileMadeReport;
  /** Burnt-in text in that. */
  readonly drawnText?: WhileMadeReport;
  /** What lies around its picture. */
  readonly bars?: WhileMadeReport;
  /** The files beside it. */
  readonly sidecars?: WhileMadeReport;
  /** Of what its encoder was given; null: none is taken. */
  readonly sketch: ErrorSketch | null;
  /** Of a file that was joined: its pictures as the checker saw them in the segments; null or absent: they are decoded. */
  readonly pictures?: SeenPictures | null;
};

/** What was made of one deliverable, under its staging name. */
export interface Made<Work extends Deliverable> {
  readonly deliverable: Work;
  /** Absolute. */
  readonly staged: string;
  /** The command that made it. */
  readonly command: readonly string[];
  /** Files that belong beside a movie, as they were checked; absent: none. */
  readonly beside?: readonly StagedFile[];
}

/** A movie: checked against its evidence, then published. Gives what kept it from that. */
export async function finish(
  run: JobRun,
  made: Made<MovieWork | MovieMasterWork>,
  evidence: Evidence,
): Promise<Failure | null> {
  const { job, context } = run;
  const { deliverable, staged } = made;
  const subject = { ...subjectOf(job), profile: deliverable.profile.name };
  const asked: readonly string[] = deliverable.profile.checks;
  const onFrames = progressOf('check', deliverable.outcome.frames, context);
  onFrames(0);
  run.clock.enter('check');
  let checked: CheckReport;
  try {
    await takeAfterFolder(staged);
    checked = await checkDeliverable({
      path: staged,
      outcome: deliverable.outcome,
      checks: checkNames.filter((name) => asked.includes(name)),
      sourceFacts: job.facts,
      sourceFingerprints: evidence.fingerprints,
      encoded: evidence.encoded,
      contentLight: evidence.contentLight ?? null,
      sketch: evidence.sketch,
      pictures: evidence.pictures ?? null,
      tools: context.tools,
      threads: context.threads,
      signal: context.signal,
      subject,
      onFrames,
    });
  } catch (error) {
    context.signal.throwIfAborted();
    if (codeOf(error) !== 'ENOENT') throw error;
    const state = await askTarget(staged.slice(0, staged.lastIndexOf('/')));
    if (state !== 'good') return targetFailure(state, job.deliveryFolder, subject);
    return {
      findings: [
        finding('encoder-wrote-nothing', 'no file', `${deliverable.outcome.fileName}, staged`, subject),
      ],
      retryable: true,
    };
  }
  const bitstream = { streams: (evidence.encoded?.streams ?? []).map((stream) => ({ ...stream })) };
  return await checkAndPublish(run, {
    ...made,
    checked: [
      evidence.development,
      evidence.colourWay,
      evidence.encoderInput,
      evidence.drawnText,
      evidence.bars,
      evidence.lightLevels,
      evidence.sidecars,
    ].reduce<CheckReport>(
      (report, seen) => withEncoderInput(report, seen, deliverable.profile.name),
      checked,
    ),
    proved: {
      file: evidence.file,
      bitstream,
      sketch: evidence.sketch,
      contentLight: evidence.contentLight ?? null,
    },
  });
}

function withEncoderInput(
  checked: CheckReport,
  encoderInput: WhileMadeReport | undefined,
  profile: string,
): CheckReport {
  if (encoderInput === undefined) return checked;
  return {
    ...checked,
    results: [...checked.results, ...encoderInput.results],
    findings: [...checked.findings, ...encoderInput.findings.map((item) => ({ ...item, profile }))],
    passed: checked.passed && encoderInput.passed,
  };
}

/** What a published deliverable's report names as its proof. */
export interface Proved {
  readonly file: Proof['file'];
  readonly bitstream: NonNullable<DeliverableReport['bitstream']>;
  readonly sketch?: ErrorSketch | null;
  readonly contentLight?: ContentLight | null;
}

export interface Checked extends Made<Deliverable> {
  readonly checked: CheckReport;
  readonly proved: Proved;
}

/** What passed is published, what did not is reported; after the last attempt its report says so too. */
export async function checkAndPublish(run: JobRun, checked: Checked): Promise<Failure | null> {
  const { context } = run;
  const { findings, passed } = checked.checked;
  if (!passed) {
    if (context.lastAttempt) await writeFailure({ run, ...checked }, findings);
    return { findings, retryable: true };
  }
  const total = checked.deliverable.outcome.frames;
  run.clock.enter('publish');
  context.onProgress({ phase: 'publish', frames: total, total, framesPerSecond: 0 });
  return await publish(run, checked);
}

async function publish(run: JobRun, made: Checked): Promise<Failure | null> {
  const { job, context } = run;
  const { deliverable, staged, checked, beside = [] } = made;
  const { name } = deliverable.profile;
  const { fileName } = deliverable.outcome;
  const folder: FolderDigest | null = isFolderDigest(checked.digest) ? checked.digest : null;
  const file = {
    path: `${name}/${fileName}`,
    bytes: checked.bytes,
    xxh128: checked.xxh128,
    sha256: checked.digest.sha256,
    ...(folder === null ? {} : { files: folder.files.length }),
  };
  const { sketch = null, contentLight = null } = made.proved;
  // Before the report that names it: no report ever points at fingerprints that are not there.
  const proof = {
    fingerprints: await made.proved.file(),
    bitstream: made.proved.bitstream,
    ...(contentLight === null ? {} : { contentLight }),
    ...(sketch === null ? {} : { errorSketch: await storeSketch(job, name, sketch) }),
    ...(folder === null
      ? {}
      : { checksumList: await storeChecksumList(job.deliveryFolder, job.clip.id, name, folder) }),
  };
  const sidecars = beside.map((one) => ({
    path: `${name}/${basename(one.final)}`,
    bytes: one.checked.bytes,
    xxh128: one.checked.xxh128,
    sha256: one.checked.sha256,
  }));
  const written = {
    ...writtenReport({ run, ...made }, file, proof),
    ...(sidecars.length === 0 ? {} : { sidecars }),
  };
  const claim = await claimFor(job, name, context);
  const publishing = {
    ...written,
    state: 'publishing',
    ...(folder === null && beside.length === 0 ? {} : { staged: basename(staged) }),
  } as DeliverableReport;
  await writeClaimed(claim, job, publishing, context.mounts ?? null);
  const ours = oursOf(run, deliverable);
  // What was checked may have been changed since, and whatever lay under the name may have come or gone while this was made:
  // both are looked at again in there, right before the name is given. Whose the older thing is, the record of the beginning
  // says: a report that somebody else wrote since does not make it ours.
  const request = {
    staged,
    final: layout.deliverable(job.deliveryFolder, name, fileName),
    isOurs: (digest: string) => ours.includes(digest),
    signal: context.signal,
  };
  await claim?.assertHighest();
  const outcome =
    beside.length === 0 || isFolderDigest(checked.digest)
      ? await publishDeliverable({ ...request, checked: checked.digest })
      : await publishTogether({
          ...request,
          checked: checked.digest,
          beside,
          obsolete: obsoleteBeside(job, deliverable),
        });
  if (outcome.kind === 'taken') return await refuseName({ run, ...made }, outcome.found);
  const seen = await seenPublished(
    layout.deliverable(job.deliveryFolder, name, fileName),
    checked.digest,
    context.signal,
  );
  for (const one of beside) await seenPublished(one.final, one.checked, context.signal);
  const published = {
    ...written,
    file: { ...file, seen },
    state: 'published',
    finishedAt: new Date().toISOString(),
    spent: await spentOf(run),
  } as DeliverableReport;
  await writeClaimed(claim, job, published, context.mounts ?? null);
  run.concluded.add(deliverable);
  run.clock.enter('make');
  return null;
}

/** Something that is not ours has the deliverable's name. */
export async function refuseName(request: ReportRequest, what: string): Promise<Failure> {
  const { profile, outcome } = request.deliverable;
  const found = finding('target-name-taken', what, 'a free name, or a file of ours', {
    ...subjectOf(request.run.job),
    profile: profile.name,
    file: `${profile.name}/${outcome.fileName}`,
  });
  await writeFailure(request, [found]);
  return { findings: [found], retryable: false };
}

export async function writeFailure(request: ReportRequest, findings: readonly Finding[]): Promise<void> {
  const { run, deliverable } = request;
  await makeFolder(run.job.deliveryFolder, layout.reportsFolder(run.job.deliveryFolder));
  const claim = await claimFor(run.job, deliverable.profile.name, {
    machine: run.context.machine,
    // On one machine the place is asked, and not the queue: what failed is told also of a run that is over.
    fence: run.context.machine === null ? async () => undefined : run.context.fence,
  });
  await writeClaimed(claim, run.job, failedReport(request, findings), run.context.mounts ?? null);
  run.concluded.add(deliverable);
}
