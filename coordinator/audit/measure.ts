/** The deliverables of one roll, measured again from their bytes by the checker of the night. */
import { codeOf } from '../../files/error-code.ts';
import { checkDeliverable } from '../../check/index.ts';
import { checkReading } from '../../check/master/reading.ts';
import { checkMaster } from '../../check/master/index.ts';
import { checkSidecars } from '../../check/master/sidecars.ts';
import { type ToSceneLinear, sceneLinearOf } from '../../check/master/scene-linear.ts';
import type { WhileMadeReport } from '../../check/while-made.ts';
import { type Finding, FindingError, type FindingSubject } from '../../findings/finding.ts';
import { listedFiles, measuredFolder, type FolderOnDisk } from '../../ledger/checksum-list.ts';
import type { DeliverableReport } from '../../ledger/report.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { placeOf } from '../../ledger/completion.ts';
import { layout } from '../../ledger/layout.ts';
import { isMovieMaster } from '../../profiles/master/with-amf.ts';
import { storedSamples, storedFingerprints, storedSketch } from '../../ledger/fingerprints.ts';
import { readTransform } from '../../ledger/transform.ts';
import { type DeliverableDigest, isFolderDigest } from '../../files/folder-digest.ts';
import type { MasterOutcome } from '../../profiles/master/outcome.ts';
import { isMasterOutcome } from '../../profiles/outcome/any.ts';
import { type CheckName, checkNames, type LoadedProfile } from '../../profiles/schema.ts';
import { type DeliverableOnDisk, deliverableKey, type Remeasured } from '../gate/input.ts';
import { requiredChecks } from '../gate/deliverable.ts';
import type { AuditRequest } from './request.ts';
import type { RollRecords } from './records.ts';

export interface Measurement {
  /** As it was given, with what was measured. */
  readonly onDisk: ReadonlyMap<string, DeliverableOnDisk>;
  /** How many were measured. */
  readonly deliverables: number;
}

/** Throws the signal's reason when stopped, and what the checker throws. */
export async function measureAgain(
  folder: string,
  records: RollRecords,
  request: AuditRequest,
): Promise<Measurement> {
  const { day, roll } = records.verdict;
  const onDisk = new Map(records.onDisk);
  let deliverables = 0;
  for (const { clip } of records.verdict.clips) {
    for (const loaded of records.profiles) {
      request.signal?.throwIfAborted();
      const key = deliverableKey(clip.id, loaded.profile.name);
      const disk = onDisk.get(key);
      if (disk === undefined || disk.bytesOnDisk === null) continue;
      deliverables += 1;
      request.onDeliverable?.({ day, roll, clip: clip.id, profile: loaded.profile.name });
      const remeasured = await measureOne({ folder, disk, loaded, records, request });
      // Gone since it was looked at: it does not stand.
      onDisk.set(key, remeasured === null ? { ...disk, bytesOnDisk: null } : { ...disk, ...remeasured });
    }
  }
  return { onDisk, deliverables };
}

interface OneDeliverable {
  readonly folder: string;
  readonly disk: DeliverableOnDisk;
  readonly loaded: LoadedProfile;
  readonly records: RollRecords;
  readonly request: AuditRequest;
}

async function measureOne({
  folder,
  disk: { report },
  loaded,
  records,
  request,
}: OneDeliverable): Promise<Pick<DeliverableOnDisk, 'remeasured' | 'folder'> | null> {
  const path = report === null ? null : placeOf(report, folder);
  if (report === null || report.file === null || path === null) return null;
  const subject = {
    roll: records.verdict.roll,
    clip: report.clip.id,
    profile: loaded.profile.name,
    file: report.file.path,
  };
  try {
    if (isMasterOutcome(report.outcome))
      return await measureMasterAgain({
        path,
        folder,
        report,
        outcome: report.outcome,
        sourceFacts: records.clipReports.get(report.clip.id)?.facts ?? null,
        subject,
        request,
      });
    const stored = await storedFingerprints(report, folder, subject);
    const sketch = await storedSketch(report, folder, subject);
    const checked = await (request.check ?? checkDeliverable)({
      path,
      outcome: report.outcome,
      checks: requiredChecks(loaded).filter((name): name is CheckName =>
        (checkNames as readonly string[]).includes(name),
      ),
      sourceFacts: records.clipReports.get(report.clip.id)?.facts ?? null,
      sourceFingerprints: stored.fingerprints,
      encoded: report.bitstream ?? null,
      contentLight: report.contentLight ?? null,
      sketch: sketch.sketch,
      tools: request.tools,
      subject,
      ...(request.signal === undefined ? {} : { signal: request.signal }),
    });
    const { linearisation, width, height } = report.outcome;
    const reading =
      linearisation === null
        ? null
        : checkReading({ linearisation, width, height }, stored.fingerprints?.reading, subject);
    const beside = await sidecarsAgain(report, folder, subject);
    const found = [...checked.findings, ...(reading?.findings ?? []), ...(beside?.findings ?? [])];
    const remeasured: Remeasured = {
      xxh128: checked.xxh128,
      sha256: checked.digest.sha256,
      facts: checked.facts,
      checks: [...checked.results, ...(reading?.results ?? []), ...(beside?.results ?? [])],
      findings: [...[stored.finding, sketch.finding].filter((item) => item !== null), ...found],
    };
    return { remeasured, ...(await folderOf(checked.digest, report, folder)) };
  } catch (error) {
    request.signal?.throwIfAborted();
    if (codeOf(error) === '') throw error;
    return null;
  }
}

/** null: nothing belongs beside it. */
async function sidecarsAgain(
  { outcome, profile }: DeliverableReport,
  folder: string,
  subject: FindingSubject,
): Promise<Pick<WhileMadeReport, 'results' | 'findings'> | null> {
  if (!isMovieMaster(outcome)) return null;
  const { sceneLinear, finding: unread } = await storedSceneLinear(outcome, folder, subject);
  const placeOf = (name: string): string => layout.deliverable(folder, profile, name);
  const { results, findings } = await checkSidecars({
    outcome,
    placeOf,
    rollFolder: folder,
    sceneLinear,
    subject,
  });
  return { results, findings: unread === null ? findings : [unread, ...findings] };
}

interface OneMaster {
  readonly path: string;
  readonly folder: string;
  readonly report: DeliverableReport;
  readonly outcome: MasterOutcome;
  readonly sourceFacts: ClipFacts | null;
  readonly subject: FindingSubject;
  readonly request: AuditRequest;
}

async function measureMasterAgain({
  path,
  folder,
  report,
  outcome,
  sourceFacts,
  subject,
  request,
}: OneMaster): Promise<Pick<DeliverableOnDisk, 'remeasured' | 'folder'>> {
  const stored = await storedSamples(report, folder, subject);
  const sceneLinear = await storedSceneLinear(outcome, folder, subject);
  const hash = report.bitstream?.streams.find(({ kind }) => kind === 'frames')?.hash;
  const checked = await checkMaster({
    path,
    rollFolder: folder,
    outcome,
    sourceFacts,
    points: stored.points,
    sceneLinear: sceneLinear.sceneLinear,
    written: hash === undefined ? null : { digest: hash, frames: null },
    subject,
    ...(request.signal === undefined ? {} : { signal: request.signal }),
  });
  const reported = [stored.finding, sceneLinear.finding].filter((item) => item !== null);
  const remeasured: Remeasured = {
    xxh128: checked.xxh128,
    sha256: checked.digest.sha256,
    facts: checked.facts,
    checks: checked.results,
    findings: [...reported, ...checked.findings],
  };
  return { remeasured, ...(await folderOf(checked.digest, report, folder)) };
}

/** The transform that the report names, from the file beside the reports where it is one. */
async function storedSceneLinear(
  { linearisation }: Pick<MasterOutcome, 'linearisation'>,
  folder: string,
  subject: FindingSubject,
): Promise<{ sceneLinear: ToSceneLinear | null; finding: Finding | null }> {
  try {
    return {
      sceneLinear: sceneLinearOf(linearisation, await readTransform(folder, linearisation)),
      finding: null,
    };
  } catch (error) {
    if (!(error instanceof FindingError)) throw error;
    return { sceneLinear: null, finding: { ...(error.findings[0] as Finding), ...subject } };
  }
}

/** Of a folder: which of its files are not those of the checksum list, now that their bytes were read. */
async function folderOf(
  digest: DeliverableDigest,
  report: DeliverableReport,
  rollFolder: string,
): Promise<{ folder?: FolderOnDisk }> {
  return isFolderDigest(digest)
    ? { folder: measuredFolder(digest, await listedFiles(report, rollFolder)) }
    : {};
}
