/** One required deliverable of the gate: made from this content, in this profile, by these tools, checked, and standing. Pure. */
import { framesOfEach } from '../../check/cadence.ts';
import { shownAt } from '../../check/grid.ts';
import { BARS } from '../../check/bars.ts';
import { LIGHT_LEVELS } from '../../check/light-levels.ts';
import { append } from '../../findings/append.ts';
import { type Finding, finding, blocks } from '../../findings/finding.ts';
import type { Clip } from '../../ledger/clip.ts';
import type { CheckResult, DeliverableReport } from '../../ledger/report.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { decideOutcome, sameDecision } from '../../profiles/outcome/any.ts';
import { factsSeen } from '../../profiles/shown/decide.ts';
import { tilesOf } from '../../profiles/recipe/tiles.ts';
import { checksOf } from '../../profiles/master/schema.ts';
import { isMaster, type LoadedProfile, mandatoryChecks } from '../../profiles/schema.ts';
import { type DeliverableOnDisk, deliverableKey, type GateInput, type Remeasured } from './input.ts';
import { judgeFolder } from './folder.ts';
import { judgeSidecars } from './sidecars.ts';

/** What must have passed: the profile's own list and those that no profile can leave out. */
export function requiredChecks(loaded: LoadedProfile): string[] {
  return [
    ...new Set<string>([
      ...(isMaster(loaded.profile) ? checksOf(loaded.profile.format).all : mandatoryChecks),
      ...loaded.profile.checks,
    ]),
  ];
}

/** What of the gate's input one deliverable is judged by. */
export type DeliverableView = Pick<GateInput, 'day' | 'roll' | 'toolchain' | 'onDisk'>;

/** Of what a deliverable must be made. `facts`: of the clip, null when it was not measured. */
export interface WantedDeliverable {
  readonly clip: Clip;
  readonly facts: ClipFacts | null;
  readonly loaded: LoadedProfile;
}

export function judgeDeliverable(
  { clip, facts, loaded }: WantedDeliverable,
  input: DeliverableView,
  clipFindings: readonly Finding[],
): { report: DeliverableReport | null; findings: Finding[] } {
  const profile = loaded.profile.name;
  const subject = { roll: input.roll, clip: clip.id, profile };
  const disk = input.onDisk.get(deliverableKey(clip.id, profile));
  if (disk?.damage) return { report: null, findings: [disk.damage] };
  const report = disk?.report ?? null;
  if (disk === undefined || report === null) {
    // Why it was not made is reported already: a second finding would only bury the first.
    const reported = clipFindings.some(
      (item) => blocks(item) && (item.profile === undefined || item.profile === profile),
    );
    return {
      report: null,
      findings: reported
        ? []
        : [finding('deliverable-absent', 'no report', 'a report of a published deliverable', subject)],
    };
  }
  const outdated = differences(report, { clip, facts, loaded }, input);
  if (outdated.length > 0) {
    // What a stale report says of checks and findings is about something else: the report is shown, its findings are not.
    return {
      report,
      findings: outdated.map(([found, expected]) =>
        finding('deliverable-outdated', found, expected, subject),
      ),
    };
  }
  const findings: Finding[] = [...report.findings];
  if (report.state !== 'published') {
    if (!findings.some(blocks))
      findings.push(finding('deliverable-unpublished', report.state, 'published', subject));
    return { report, findings };
  }
  if (report.fingerprints === undefined || disk.fingerprintsSha256 === undefined) {
    findings.push(
      finding(
        'fingerprints-absent',
        report.fingerprints === undefined ? 'the report names no fingerprints' : 'no such file',
        'the fingerprints of the source that it was proved by',
        report.fingerprints === undefined ? subject : { ...subject, file: report.fingerprints.path },
      ),
    );
  }
  append(findings, judgeSketch(report, disk, subject));
  append(findings, judgeChecks(report.checks, loaded, subject));
  if (
    facts !== null &&
    isSeenByTiles(report, facts, loaded) &&
    !report.checks.some(({ check }) => check === ENCODER_INPUT)
  )
    findings.push(
      finding('check-absent', `no result of the check \`${ENCODER_INPUT}\``, 'a result, passed', subject),
    );
  append(findings, judgeColourWay(report, subject));
  append(findings, judgeDrawnText(report, subject));
  append(findings, judgeBars(report, subject));
  append(findings, judgeLight(report, subject));
  append(findings, judgeFile(report, disk, subject));
  append(findings, judgeFrames(report, facts === null ? null : { facts, clip }, subject));
  if (disk.remeasured !== undefined) append(findings, judgeAgain(report, disk.remeasured, loaded, subject));
  return { report, findings };
}

function differences(
  report: DeliverableReport,
  { clip, facts, loaded }: WantedDeliverable,
  input: DeliverableView,
): [found: string, expected: string][] {
  const pairs: [what: string, found: string, expected: string][] = [
    ['day', report.day, input.day],
    ['roll', report.roll, input.roll],
    ['clip', report.clip.id, clip.id],
    ['profile', report.profile, loaded.profile.name],
    ['content', report.clip.contentDigest, clip.contentDigest],
    ['profile hash', report.profileHash, loaded.hash],
    ['toolchain', report.toolchain.digest, input.toolchain.digest],
    ...decisionOf(report, { clip, facts, loaded }, input),
  ];
  return pairs
    .filter(([, found, expected]) => found !== expected)
    .map(([what, found, expected]) => [`${what} ${found}`, `${what} ${expected}`]);
}

/** Facts and profile decide what must come out, and of a master the settings of the night, which are in the clip's facts. A record that says otherwise asks for something else. */
function decisionOf(
  report: DeliverableReport,
  { clip, facts, loaded }: WantedDeliverable,
  { day, roll }: DeliverableView,
): [what: string, found: string, expected: string][] {
  if (facts === null) return [];
  const { outcome } = decideOutcome({ day, roll, clip, facts, profile: loaded.profile });
  // What is refused now, the plan says.
  return outcome === null || sameDecision(report.outcome, outcome)
    ? []
    : [['outcome', 'decided otherwise, as with other settings', 'as it is decided now']];
}

/** What says how much coding lost, wherever something is lost. */
function judgeSketch(
  { outcome, errorSketch }: DeliverableReport,
  { errorSketchSha256 }: DeliverableOnDisk,
  subject: Subject,
): Finding[] {
  if (!('pictureError' in outcome) || outcome.pictureError === null) return [];
  if (errorSketch !== undefined && errorSketchSha256 !== undefined) return [];
  return [
    finding(
      'fingerprints-absent',
      errorSketch === undefined ? 'the report names no error sketch' : 'no such file',
      'the sketch of what the encoder was given',
      errorSketch === undefined ? subject : { ...subject, file: errorSketch.path },
    ),
  ];
}

/** Only while a movie is made can it be seen what its encoder is given: no profile asks for it, and no audit repeats it. */
const ENCODER_INPUT = 'encoder-input';

function isSeenByTiles(report: DeliverableReport, facts: ClipFacts, { profile }: LoadedProfile): boolean {
  return (
    profile.kind === 'movie' &&
    report.outcome.kind === 'movie' &&
    tilesOf(factsSeen(facts, report.outcome.shown), profile, report.outcome) !== null
  );
}

/** The same of what comes before it, the way from recorded code values to those of a display. */
const COLOUR_WAY = 'colour-way';

/** And of what developed pictures are proved by, before it. */
const DEVELOPMENT = ['development', 'development-spot-check', 'whole-frames', 'frames-as-decoded'] as const;

function judgeColourWay({ outcome, checks }: DeliverableReport, subject: Subject): Finding[] {
  if (outcome.kind !== 'movie' || outcome.shown === null) return [];
  const wanted = [COLOUR_WAY, ...(outcome.shown.from === 'developed' ? DEVELOPMENT : [])];
  return wanted
    .filter((name) => !checks.some(({ check }) => check === name))
    .map((name) =>
      finding('check-absent', `no result of the check \`${name}\``, 'a result, passed', subject),
    );
}

/** The same of text in the picture: what of it is read in the file is a check of its own. */
const DRAWN_TEXT = 'burn-in-drawn';

function judgeDrawnText({ outcome, checks }: DeliverableReport, subject: Subject): Finding[] {
  const isThere = outcome.kind === 'movie' && outcome.burnIn.length > 0;
  return isThere && !checks.some(({ check }) => check === DRAWN_TEXT)
    ? [finding('check-absent', `no result of the check \`${DRAWN_TEXT}\``, 'a result, passed', subject)]
    : [];
}

/** And of what lies around it. */
function judgeBars({ outcome, checks }: DeliverableReport, subject: Subject): Finding[] {
  const isThere = outcome.kind === 'movie' && outcome.proof.framing.inset !== null;
  return isThere && !checks.some(({ check }) => check === BARS)
    ? [finding('check-absent', `no result of the check \`${BARS}\``, 'a result, passed', subject)]
    : [];
}

/** And of the light that a stream in PQ states. */
function judgeLight({ outcome, checks }: DeliverableReport, subject: Subject): Finding[] {
  const isStated = outcome.kind === 'movie' && outcome.contentLight !== null;
  return isStated && !checks.some(({ check }) => check === LIGHT_LEVELS)
    ? [finding('check-absent', `no result of the check \`${LIGHT_LEVELS}\``, 'a result, passed', subject)]
    : [];
}

type Subject = { roll: string; clip: string; profile: string };

function judgeChecks(checks: readonly CheckResult[], loaded: LoadedProfile, subject: Subject): Finding[] {
  const found: Finding[] = [];
  for (const check of requiredChecks(loaded)) {
    if (!checks.some((result) => result.check === check))
      found.push(finding('check-absent', `no result of the check \`${check}\``, 'a result, passed', subject));
  }
  const seen = new Set<string>();
  // One that was not asked for and failed holds as well: what is known to be wrong is wrong.
  for (const result of checks) {
    const { check, status, measured, expected, tool } = result;
    if (status !== 'passed')
      found.push(finding('check-failed', `${check}: ${measured}`, `${check}: ${expected}`, subject));
    const lacks = [
      check === '' && 'name',
      measured === '' && 'measured value',
      expected === '' && 'expected value',
      tool === '' && 'tool',
    ].filter((part) => part !== false);
    if (lacks.length > 0)
      found.push(
        finding(
          'check-incomplete',
          `${check === '' ? 'a check' : `\`${check}\``} without ${lacks.join(' and ')}`,
          'what was measured, what was expected, and by which tool',
          subject,
        ),
      );
    if (seen.has(check))
      found.push(finding('check-twice', `two results of \`${check}\``, 'one result of each check', subject));
    seen.add(check);
  }
  return found;
}

function judgeFile(report: DeliverableReport, disk: DeliverableOnDisk, subject: Subject): Finding[] {
  if (report.file === null) return [finding('file-absent', 'the report names no file', 'a file', subject)];
  const { bytesOnDisk } = disk;
  const { path, bytes, xxh128, sha256 = '' } = report.file;
  const about = { ...subject, file: path };
  const found: Finding[] = [];
  if (bytesOnDisk === null) found.push(finding('file-absent', 'no such file', `${bytes} bytes`, about));
  else if (report.file.files === undefined && (bytesOnDisk !== bytes || bytesOnDisk === 0))
    found.push(finding('file-size-differs', `${bytesOnDisk} bytes`, `${bytes} bytes, not empty`, about));
  const { now } = disk;
  if (now !== undefined && (now.xxh128 !== xxh128 || (sha256 !== '' && now.sha256 !== sha256)))
    found.push(finding('digest-differs', `XXH128 ${now.xxh128}`, `XXH128 ${xxh128}`, about));
  append(found, judgeFolder(report, disk, about));
  append(found, judgeSidecars(report, disk, subject));
  const named = `${report.profile}/${report.outcome.fileName}`;
  if (path !== named)
    found.push(finding('record-contradictory', `the file ${path}`, `the file ${named}, as decided`, about));
  if (xxh128 === '' || sha256 === '')
    found.push(
      finding(
        'record-incomplete',
        `no ${xxh128 === '' ? 'XXH128' : 'SHA-256'} of the file`,
        'both digests of its bytes',
        about,
      ),
    );
  if (report.facts === null)
    found.push(
      finding('facts-absent', 'the deliverable was not measured', 'facts measured of the staged file', about),
    );
  return found;
}

/**
 * Nothing is cut but to the stretch of a pull, and no frame is repeated or left out but on the grid of a clip without a constant rate: so clip, decision and what was
 * made have one number of frames, or where fields are split, of fields.
 */
function judgeFrames(
  { outcome, facts }: DeliverableReport,
  source: { readonly facts: ClipFacts; readonly clip: Clip } | null,
  subject: Subject,
): Finding[] {
  const found: Finding[] = [];
  if (facts !== null && facts.video.frames !== outcome.frames)
    found.push(
      finding(
        'record-contradictory',
        `${facts.video.frames} frames measured`,
        `${outcome.frames} frames decided`,
        subject,
      ),
    );
  const clipHas =
    source === null
      ? undefined
      : outcome.cadence.constant === null
        ? (source.clip.stretch?.frames ?? framesOfEach(outcome.cadence) * source.facts.video.frames)
        : (shownAt(source.facts.video, outcome.rate)?.length ?? 0);
  if (clipHas !== undefined && clipHas !== outcome.frames)
    found.push(
      finding(
        'record-contradictory',
        `${outcome.frames} frames decided`,
        `${clipHas} frames in ${source?.clip.stretch === undefined ? 'the clip' : 'its stretch'}`,
        subject,
      ),
    );
  return found;
}

/** A second measurement: good by the same rule, and of the bytes that the report names. */
function judgeAgain(
  report: DeliverableReport,
  remeasured: Remeasured,
  loaded: LoadedProfile,
  subject: Subject,
): Finding[] {
  const about = report.file === null ? subject : { ...subject, file: report.file.path };
  const found: Finding[] = [...remeasured.findings, ...judgeChecks(remeasured.checks, loaded, about)];
  if (remeasured.facts === null)
    found.push(
      finding(
        'facts-absent',
        'the deliverable could not be measured again',
        'facts measured of its bytes',
        about,
      ),
    );
  else append(found, judgeFrames({ ...report, facts: remeasured.facts }, null, about));
  if (report.file !== null && remeasured.xxh128 !== report.file.xxh128)
    found.push(
      finding('digest-differs', `XXH128 ${remeasured.xxh128}`, `XXH128 ${report.file.xxh128}`, about),
    );
  else if (report.file?.sha256 !== undefined && remeasured.sha256 !== report.file.sha256)
    found.push(
      finding('digest-differs', `SHA-256 ${remeasured.sha256}`, `SHA-256 ${report.file.sha256}`, about),
    );
  return found;
}
