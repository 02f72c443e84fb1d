/**
 * One job from claim to report:
 *   claim   may we, and is the clip as it was read
 *   resume  what stands finished already is left alone
 *   make    one decode, every deliverable into a staging file beside its final name
 *   prove   the trail of the decode is whole, and of this clip
 *   check   each staged file measured from disk, against that trail
 *   publish report `publishing`, final name, report `published`
 * Every way out of it leaves reports on disk or throws; nothing unfinished ever stands under a final name.
 */
import { rm } from 'node:fs/promises';
import { basename, extname } from 'node:path';
import { checkDeliverable, type CheckReport } from '../check/index.ts';
import { decodeWhole } from '../check/decode.ts';
import type { FedReport } from '../check/master/fed.ts';
import { checkMaster } from '../check/master/index.ts';
import { type Finding, finding } from '../findings/finding.ts';
import { isMasterWork, isMovieMasterWork, type Job, type MovieMasterWork, type MovieWork } from '../ledger/job.ts';
import { layout } from '../ledger/layout.ts';
import type { JobProgress } from '../ledger/queue.ts';
import { type DeliverableReport, deliverableReportSchema } from '../ledger/report.ts';
import { storeListing } from '../ledger/listing.ts';
import { completeRecords, ownDigests, settleDeliverable } from '../ledger/settle.ts';
import { readRecord } from '../ledger/store.ts';
import type { Toolchain } from '../ledger/toolchain.ts';
import { openInput } from '../media/input.ts';
import { printable } from '../media/names.ts';
import type { Payload } from '../media/payload.ts';
import { type FolderDigest, isFolderDigest } from '../media/folder-digest.ts';
import { StagedFileLostError } from '../media/publish.ts';
import { publishDeliverable } from '../media/publish-folder.ts';
import { ratio } from '../media/rate.ts';
import type { MediaTools } from '../media/tools/locate.ts';
import type { SourceTrail } from '../media/trail/source-trail.ts';
import { checkNames } from '../profiles/schema.ts';
import { sourceTrouble, subjectOf, toolchainTrouble } from './claim.ts';
import { classifyMake, looksDamaged, type SourceDecode, targetTrouble, type Trouble } from './classify.ts';
import { decoderTroubles } from './decoder.ts';
import { awaitedByOthers, publishLeftover } from './leftover.ts';
import { make, type MakeResult } from './make.ts';
import { developmentText } from './master/attributes.ts';
import { feedDeclared } from './master/declared.ts';
import { byWay, type MasterEvidence, type MasterGroup, type MasterMaking, sourceName, type StagedMaster, startMasters } from './master/making.ts';
import type { Encoded, StagedMovieMaster } from './master/encoder.ts';
import { type Proof, proofOf, storedOnce } from './proof.ts';
import { failedReport, type ReportContext, writeReport, writtenReport } from './report.ts';
import { askTarget, deliveryOf, makeFolder, newToken, sweepStaging, targetStateOf } from './target.ts';

export interface JobContext {
  readonly tools: MediaTools;
  readonly toolchain: Toolchain;
  readonly threads: number;
  readonly stallMilliseconds: number;
  readonly signal: AbortSignal;
  readonly attempt: number;
  /** No further attempt follows: a failure is written down for good. */
  readonly lastAttempt: boolean;
  readonly onProgress: (progress: JobProgress) => void;
  /** Throws when the job is not ours any more (lock lost, night taken over). Asked right before a final name is given. */
  readonly fence: () => Promise<void>;
}

/** What kept a job from its end. `again`: the queue should try once more. */
export class JobTrouble extends Error {
  readonly findings: readonly Finding[];
  readonly again: boolean;
  constructor(trouble: Trouble) {
    super(trouble.findings.map((item) => `${item.code}: ${item.found}`).join('; '));
    this.name = 'JobTrouble';
    this.findings = trouble.findings;
    this.again = trouble.again;
  }
}

type Deliverable = Job['deliverables'][number];
/** What a deliverable is proved by: the trail of its source, and what left its encoders. */
type Evidence = Proof & { readonly encoded: Payload | null; /** Of a movie for grading: what was fed to its encoder, against the source. */ readonly fed?: FedReport };
interface StagedMovie {
  readonly deliverable: MovieWork;
  readonly staged: string;
}

/** Throws JobTrouble; and the signal's reason when stopped. */
export async function runJob(job: Job, context: JobContext): Promise<void> {
  const report: ReportContext = { job, toolchain: context.toolchain, attempt: context.attempt, startedAt: new Date().toISOString() };
  try {
    const refused = toolchainTrouble(job, context.toolchain.fingerprint) ?? (await sourceTrouble(job));
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
  if (error instanceof StagedFileLostError) return new JobTrouble({ findings: [finding('staged-file-lost', error.message, 'the file that was checked', subjectOf(job))], again: true });
  const state = targetStateOf(error, deliveryOf(job.deliveryFolder));
  if (state !== null) return new JobTrouble(targetTrouble(state, job.deliveryFolder, subjectOf(job)));
  return new JobTrouble({ findings: [finding('work-failed', (error as Error).message, 'no error', subjectOf(job))], again: true });
}

async function standing(job: Job, deliverable: Deliverable): Promise<DeliverableReport | null> {
  const read = await readRecord(layout.deliverableReport(job.deliveryFolder, job.clip.id, deliverable.profile.name), deliverableReportSchema);
  return read.state === 'read' ? read.value : null;
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
    const wanted = { contentDigest: job.clip.contentDigest, profileHash: deliverable.profileHash, toolchain: job.toolchain, outcome: deliverable.outcome };
    const settled = report === null ? null : await settleDeliverable(report, job.deliveryFolder, wanted, context.signal);
    if (settled?.state !== 'finished') open.push(deliverable);
    else await completeRecords(settled, job.deliveryFolder);
  }
  return open;
}

async function makeAll(job: Job, open: readonly Deliverable[], context: JobContext, report: ReportContext): Promise<void> {
  const movies: StagedMovie[] = [];
  const masters: StagedMaster[] = [];
  const graded: StagedMovieMaster[] = [];
  for (const deliverable of open) {
    const { name } = deliverable.profile;
    const folder = layout.profileFolder(job.deliveryFolder, name);
    await makeFolder(job.deliveryFolder, folder);
    await sweepStaging(folder, () => awaitedByOthers(job, name));
    if (isMasterWork(deliverable)) masters.push({ deliverable, staged: layout.stagingFolder(job.deliveryFolder, name, newToken()) });
    else {
      const staged = layout.staging(job.deliveryFolder, name, newToken(), extname(deliverable.outcome.fileName).slice(1));
      if (isMovieMasterWork(deliverable)) graded.push({ deliverable, staged });
      else movies.push({ deliverable, staged });
    }
  }
  // What code values mean is the clip's, so that all masters of a movie go one way; raw frames are developed as each profile says.
  const groups = byWay(masters, graded);
  try {
    const { raw, declared } = job.facts;
    const troubles = raw === undefined && declared === undefined ? await makeCoded(job, movies, groups[0] ?? null, context, report) : await makeApart(job, groups, context, report);
    // What passed is published; only what did not is made again.
    if (troubles.length > 0) throw new JobTrouble({ findings: troubles.flatMap((item) => item.findings), again: troubles.some((item) => item.again) });
  } finally {
    for (const { staged } of [...movies, ...masters, ...graded]) await rm(staged, { recursive: true, force: true }).catch(() => undefined);
  }
}

/** From one decode: every movie, and the frames of every master. */
async function makeCoded(job: Job, movies: readonly StagedMovie[], group: MasterGroup | null, context: JobContext, report: ReportContext): Promise<Trouble[]> {
  const making = group === null ? null : await startMasters(job, group, context, () => undefined);
  try {
    const made = await makeStaged(job, movies, group, making, context);
    const command = [made.run.command, ...made.run.args];
    const proof = await proofOf(job, made, context.tools, context.signal);
    if (!('trail' in proof)) throw new JobTrouble(proof);
    const troubles: Trouble[] = [];
    for (const [index, output] of movies.entries()) {
      const trouble = await finish(job, output, command, { ...proof, encoded: made.payloads[index] ?? null }, context, report);
      if (trouble !== null) troubles.push(trouble);
    }
    if (group !== null && making !== null) troubles.push(...(await finishMasters(job, group, making, { command, sounds: proof.trail.sounds }, context, report)));
    return troubles;
  } finally {
    await making?.close();
  }
}

/** Raw frames, which the threads of the mill read themselves, and pictures of a declared decoder. What does not go the same way to light is made one after the other. */
async function makeApart(job: Job, groups: readonly MasterGroup[], context: JobContext, report: ReportContext): Promise<Trouble[]> {
  const troubles: Trouble[] = [];
  for (const group of groups) {
    const started = performance.now();
    const total = job.span.count;
    const making = await startMasters(job, group, context, (frames) => context.onProgress({ phase: 'make', frames, total, framesPerSecond: (frames * 1000) / Math.max(1, performance.now() - started) }));
    try {
      if (job.facts.declared === undefined) await making.mill.take(total, context.signal);
      else await feedDeclared(job, making.mill, context.threads, context.signal);
      context.signal.throwIfAborted();
      const changed = await sourceTrouble(job);
      if (changed !== null) throw new JobTrouble({ findings: [changed], again: false });
      const [{ deliverable }] = [...group.folders, ...group.movies] as [StagedMaster | StagedMovieMaster];
      troubles.push(...(await finishMasters(job, group, making, { command: job.facts.declared?.declared.command ?? [developmentText(deliverable.outcome.way)], sounds: [] }, context, report)));
    } catch (error) {
      context.signal.throwIfAborted();
      throw frameTrouble(error, job) ?? error;
    } finally {
      await making.close();
    }
  }
  return troubles;
}

/** null: not about a frame of the source. */
function frameTrouble(error: unknown, job: Job): JobTrouble | null {
  const { name, message } = error as Error;
  const declared = job.facts.declared ?? job.facts.raw?.decoder.declaration;
  if (name === 'DecoderFailed' && declared !== undefined) return new JobTrouble({ findings: [finding('decoder-failed', printable(message), 'every picture of the clip, and nothing else', subjectOf(job))], again: false });
  const ofSource = ['StillDamage', 'DngRefusal', 'UndevelopableError', 'DecoderFailed'].includes(name);
  return ofSource ? new JobTrouble({ findings: [finding('frame-develop-failed', message, 'a frame that can be developed', subjectOf(job))], again: false }) : null;
}

async function makeStaged(job: Job, outputs: readonly StagedMovie[], group: MasterGroup | null, making: MasterMaking | null, context: JobContext): Promise<MakeResult> {
  const started = performance.now();
  const total = job.span.count;
  const made = await make({
    job,
    outputs,
    mill: making?.mill ?? null,
    besides: (group?.movies ?? []).map(({ deliverable }) => deliverable.outcome),
    tools: context.tools,
    threads: context.threads,
    stallMilliseconds: context.stallMilliseconds,
    signal: context.signal,
    onFrames: (frames) => context.onProgress({ phase: 'make', frames, total, framesPerSecond: (frames * 1000) / Math.max(1, performance.now() - started) }),
  });
  context.signal.throwIfAborted();
  const suspicious = made.run.reason !== 'exited' || looksDamaged(made.run, made.watched, total);
  if (suspicious) {
    // Asked while the unfinished files still fill the target.
    for (const { staged } of [...outputs, ...(group?.folders ?? []), ...(group?.movies ?? [])]) {
      const folder = staged.slice(0, staged.lastIndexOf('/'));
      const state = await askTarget(folder);
      if (state !== 'good') throw new JobTrouble(targetTrouble(state, folder, subjectOf(job)));
    }
  }
  const source = suspicious && made.watched.sizeChange === null && looksDamaged(made.run, made.watched, total) ? await decodeSource(job, context) : null;
  const trouble = classifyMake(made.run, made.watched, total, source, subjectOf(job));
  if (trouble !== null) throw new JobTrouble(trouble);
  const changed = await sourceTrouble(job);
  if (changed !== null) throw new JobTrouble({ findings: [changed], again: false });
  return made;
}

/** How the frames came to the mill, and what was heard meanwhile. */
interface MilledFrom {
  readonly command: readonly string[];
  readonly sounds: SourceTrail['sounds'];
}

async function finishMasters(job: Job, { folders, movies }: MasterGroup, making: MasterMaking, { command, sounds }: MilledFrom, context: JobContext, report: ReportContext): Promise<Trouble[]> {
  const evidence = await making.prove(context.tools, context.signal);
  if (!('points' in evidence)) throw new JobTrouble(evidence);
  // The frames are written; their memory is for those that read them.
  await making.close();
  const troubles: Trouble[] = [];
  for (const [index, { deliverable, staged }] of folders.entries()) {
    const written = evidence.written[index] ?? null;
    const checked = await checkMaster({
      path: staged,
      outcome: deliverable.outcome,
      source: sourceName(job),
      points: evidence.points,
      light: evidence.light,
      written,
      threads: context.threads,
      signal: context.signal,
      subject: { ...subjectOf(job), profile: deliverable.profile.name },
      onFrames: checkProgress(deliverable.outcome.frames, context),
    });
    const payload = { streams: written === null ? [] : [{ kind: 'frames', hash: written.digest }] };
    const trouble = await conclude(job, deliverable, staged, checked, command, { file: evidence.file, payload }, context, report);
    if (trouble !== null) troubles.push(trouble);
  }
  for (const [index, output] of movies.entries()) {
    const trouble = await finishMovieMaster(job, output, evidence.encoded[index] as Encoded, evidence, sounds, context, report);
    if (trouble !== null) troubles.push(trouble);
  }
  return troubles;
}

async function finishMovieMaster(job: Job, output: StagedMovieMaster, { run, watched, payload }: Encoded, { fed }: MasterEvidence, sounds: SourceTrail['sounds'], context: JobContext, report: ReportContext): Promise<Trouble | null> {
  const { deliverable: { outcome, profile }, staged } = output;
  const subject = { ...subjectOf(job), profile: profile.name };
  if (fed === null) throw new RangeError('a movie of pictures that nobody made');
  const trouble = classifyMake(run, watched, outcome.frames, null, subject);
  if (trouble !== null) {
    const folder = staged.slice(0, staged.lastIndexOf('/'));
    const state = await askTarget(folder);
    return state === 'good' ? trouble : targetTrouble(state, folder, subject);
  }
  // Its own clock: the pictures were counted, and are as many as the clip has.
  const times = { timeBase: ratio(outcome.rate.den, outcome.rate.num), ticks: Float64Array.from({ length: outcome.frames }, (_, frame) => frame) };
  const trail: SourceTrail = { picture: fed.picture, times, sounds: job.facts.audio.map((_, track) => sounds[track] ?? null) };
  return await finish(job, output, [run.command, ...run.args], { trail, file: storedOnce(job, trail), encoded: payload, fed: fed.report }, context, report);
}

function checkProgress(total: number, context: JobContext): (frames: number) => void {
  const started = performance.now();
  return (frames) => context.onProgress({ phase: 'check', frames, total, framesPerSecond: (frames * 1000) / Math.max(1, performance.now() - started) });
}

/** The clip alone, decoded once more: tells a damaged clip from an encoder that failed. */
async function decodeSource(job: Job, context: JobContext): Promise<SourceDecode | null> {
  const input = await openInput(job.rollFolder, job.clip.place, job.facts.video.rate);
  try {
    return await decodeWhole(input, context.tools, { threads: context.threads, signal: context.signal });
  } finally {
    await input.dispose();
  }
}

async function finish(job: Job, { deliverable, staged }: { readonly deliverable: MovieWork | MovieMasterWork; readonly staged: string }, command: readonly string[], evidence: Evidence, context: JobContext, report: ReportContext): Promise<Trouble | null> {
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
      onFrames: checkProgress(deliverable.outcome.frames, context),
    });
  } catch (error) {
    context.signal.throwIfAborted();
    if ((error as NodeJS.ErrnoException).code !== 'ENOENT') throw error;
    const state = await askTarget(staged.slice(0, staged.lastIndexOf('/')));
    if (state !== 'good') return targetTrouble(state, job.deliveryFolder, subject);
    return { findings: [finding('encoder-wrote-nothing', 'no file', `${deliverable.outcome.fileName}, staged`, subject)], again: true };
  }
  const payload = { streams: (evidence.encoded?.streams ?? []).map((stream) => ({ ...stream })) };
  return await conclude(job, deliverable, staged, withFed(checked, evidence.fed, deliverable.profile.name), command, { file: evidence.file, payload }, context, report);
}

function withFed(checked: CheckReport, fed: FedReport | undefined, profile: string): CheckReport {
  if (fed === undefined) return checked;
  return { ...checked, results: [...checked.results, ...fed.results], findings: [...checked.findings, ...fed.findings.map((item) => ({ ...item, profile }))], passed: checked.passed && fed.passed };
}

/** What a published deliverable's report names as its proof. */
interface Proved {
  readonly file: Proof['file'];
  readonly payload: NonNullable<DeliverableReport['payload']>;
}

async function conclude(job: Job, deliverable: Deliverable, staged: string, checked: CheckReport, command: readonly string[], proved: Proved, context: JobContext, report: ReportContext): Promise<Trouble | null> {
  if (!checked.passed) {
    if (context.lastAttempt) await writeFailure(job, deliverable, report, checked.findings, command, checked);
    return { findings: checked.findings, again: true };
  }
  const total = deliverable.outcome.frames;
  context.onProgress({ phase: 'publish', frames: total, total, framesPerSecond: 0 });
  return await publish(job, deliverable, staged, checked, command, proved, context, report);
}

async function publish(job: Job, deliverable: Deliverable, staged: string, checked: CheckReport, command: readonly string[], evidence: Proved, context: JobContext, report: ReportContext): Promise<Trouble | null> {
  const { fileName } = deliverable.outcome;
  const path = `${deliverable.profile.name}/${fileName}`;
  const older = ownDigests(await standing(job, deliverable), path);
  // Before the report that names it: no report ever points at a trail that is not there.
  const folder: FolderDigest | null = isFolderDigest(checked.digest) ? checked.digest : null;
  const proved = { trail: await evidence.file(), payload: evidence.payload, ...(folder === null ? {} : { listing: await storeListing(job.deliveryFolder, job.clip.id, deliverable.profile.name, folder) }) };
  const file = { path, bytes: checked.bytes, xxh128: checked.xxh128, sha256: checked.digest.sha256, ...(folder === null ? {} : { files: folder.files.length }) };
  const written = writtenReport(report, deliverable, file, proved, older, command, checked);
  await context.fence();
  await writeReport(job, deliverable, { ...written, state: 'publishing', ...(folder === null ? {} : { staged: basename(staged) }) });
  const outcome = await publishDeliverable({ staged, final: layout.deliverable(job.deliveryFolder, deliverable.profile.name, fileName), checked: checked.digest, isOurs: (digest) => older.includes(digest), signal: context.signal });
  if (outcome.kind === 'taken') {
    const told = finding('target-name-taken', outcome.found, 'a free name, or a file of ours', { ...subjectOf(job), profile: deliverable.profile.name, file: path });
    await writeFailure(job, deliverable, report, [told], command, checked);
    return { findings: [told], again: false };
  }
  await writeReport(job, deliverable, { ...written, state: 'published', finishedAt: new Date().toISOString() });
  return null;
}

async function writeFailure(job: Job, deliverable: Deliverable, report: ReportContext, findings: readonly Finding[], command: readonly string[], checked: CheckReport | null): Promise<void> {
  const older = ownDigests(await standing(job, deliverable), `${deliverable.profile.name}/${deliverable.outcome.fileName}`);
  await writeReport(job, deliverable, failedReport(report, deliverable, findings, older, command, checked));
}

/** A failed report for every deliverable that has neither a finished one nor its own failure of this attempt. */
async function writeFailures(job: Job, trouble: JobTrouble, report: ReportContext, context: JobContext): Promise<void> {
  try {
    for (const deliverable of await unfinished(job, context)) {
      const own = await standing(job, deliverable);
      if (own?.state === 'failed' && own.run === job.run && own.startedAt === report.startedAt) continue;
      const about = trouble.findings.filter((item) => item.profile === undefined || item.profile === deliverable.profile.name);
      await makeFolder(job.deliveryFolder, layout.reportsFolder(job.deliveryFolder));
      await writeFailure(job, deliverable, report, about.length > 0 ? about : trouble.findings, [], null);
    }
  } catch (error) {
    // A target that takes no report: the queue carries the reason, and the coordinator asks the target itself.
    if (targetStateOf(error, deliveryOf(job.deliveryFolder)) === null) throw error;
  }
}
