/** One roll of a delivery, measured again. */
import { checkDeliverable } from '../../check/index.ts';
import { type Finding, finding, holds } from '../../findings/finding.ts';
import { folderName, layout } from '../../ledger/layout.ts';
import { clipReportSchema, type DeliverableReport, deliverableReportSchema } from '../../ledger/report.ts';
import { type RollVerdict, rollVerdictSchema, type verdicts } from '../../ledger/roll.ts';
import { placeOf } from '../../ledger/settle.ts';
import { readRecord } from '../../ledger/store.ts';
import { type CheckName, checkNames } from '../../profiles/schema.ts';
import { strangers } from './strangers.ts';
import type { AuditRequest } from './index.ts';

type Verdict = (typeof verdicts)[number];

export interface RollAudit {
  readonly day: string;
  readonly roll: string;
  /** What roll.json says; null when it cannot be read. */
  readonly recorded: Verdict | null;
  /** What the bytes and records say now. Held for whatever reason stays held: an audit reads no source. */
  readonly measured: Verdict;
  readonly deliverables: number;
  readonly findings: readonly Finding[];
}

interface Place {
  readonly day: string;
  readonly roll: string;
  readonly folder: string;
}
type Clip = RollVerdict['clips'][number];
type Listed = Clip['deliverables'][number];

export async function auditRoll(place: Place, request: AuditRequest): Promise<RollAudit> {
  const { day, roll, folder } = place;
  const read = await readRecord(layout.verdict(folder), rollVerdictSchema);
  if (read.state !== 'read') {
    const told = read.state === 'damaged' ? read.finding : finding('report-absent', 'no roll.json', 'a verdict', { roll });
    return { day, roll, recorded: null, measured: 'held', deliverables: 0, findings: [told] };
  }
  const recorded = read.value;
  const findings: Finding[] = [];
  if (folderName(recorded.day) !== day || folderName(recorded.roll) !== roll) findings.push(finding('report-disagrees', `roll.json of ${recorded.day}/${recorded.roll}`, `roll.json of ${day}/${roll}`, { roll }));
  let deliverables = 0;
  for (const clip of recorded.clips) {
    findings.push(...(await auditClipReport(place, clip)));
    for (const listed of clip.deliverables) {
      request.signal?.throwIfAborted();
      if (listed.state !== 'published') continue;
      deliverables += 1;
      request.onDeliverable?.({ day, roll, clip: clip.clip.id, profile: listed.profile });
      findings.push(...(await auditDeliverable(place, recorded, clip, listed, request)));
    }
  }
  findings.push(...(await strangers(folder, recorded)));
  const measured = verdictNow(recorded, findings);
  if (measured !== recorded.verdict) findings.push(finding('verdict-differs', `${measured}, measured now`, `${recorded.verdict}, as roll.json says`, { roll }));
  return { day, roll, recorded: recorded.verdict, measured, deliverables, findings };
}

/** Ready only if the record has everything that makes a roll ready, and nothing measured now speaks against it. Pure. */
export function verdictNow(recorded: RollVerdict, findings: readonly Finding[]): Verdict {
  const complete =
    recorded.copies.length > 0 &&
    recorded.copies.every((copy) => copy.holds) &&
    recorded.manifests.length > 0 &&
    recorded.profiles.length > 0 &&
    recorded.clips.length > 0 &&
    recorded.clips.every((clip) => clip.verdict === 'ready' && recorded.profiles.every((profile) => clip.deliverables.some((listed) => listed.profile === profile.name && listed.state === 'published')));
  return complete && !recorded.findings.some(holds) && !findings.some(holds) ? 'ready' : 'held';
}

async function auditClipReport(place: Place, clip: Clip): Promise<Finding[]> {
  const subject = { roll: place.roll, clip: clip.clip.id };
  const read = await readRecord(layout.clipReport(place.folder, clip.clip.id), clipReportSchema);
  if (read.state === 'absent') return [finding('report-absent', 'no clip report', 'a clip report', subject)];
  if (read.state === 'damaged') return [{ ...read.finding, ...subject }];
  const report = read.value;
  if (report.verdict !== clip.verdict) return [finding('report-disagrees', `clip report: ${report.verdict}`, `roll.json: ${clip.verdict}`, subject)];
  if (report.clip.contentDigest !== clip.clip.contentDigest) return [finding('report-disagrees', `clip report: content ${report.clip.contentDigest}`, `roll.json: content ${clip.clip.contentDigest}`, subject)];
  return [];
}

async function auditDeliverable(place: Place, recorded: RollVerdict, clip: Clip, listed: Listed, request: AuditRequest): Promise<Finding[]> {
  const subject = { roll: place.roll, clip: clip.clip.id, profile: listed.profile };
  const read = await readRecord(layout.deliverableReport(place.folder, clip.clip.id, listed.profile), deliverableReportSchema);
  if (read.state === 'absent') return [finding('report-absent', 'no deliverable report', 'a deliverable report', subject)];
  if (read.state === 'damaged') return [{ ...read.finding, ...subject }];
  const report = read.value;
  const findings = disagreements(report, recorded, clip, listed).map(([found, expected]) => finding('report-disagrees', found, expected, subject));
  const path = placeOf(report, place.folder);
  if (path === null || report.file === null) return [...findings, finding('file-absent', 'the report names no file of this roll', 'a file', subject)];
  const about = { ...subject, file: report.file.path };
  const required = recorded.profiles.find((profile) => profile.name === listed.profile)?.checks ?? [];
  try {
    const checked = await checkDeliverable({
      path,
      outcome: report.outcome,
      checks: required.filter((name): name is CheckName => (checkNames as readonly string[]).includes(name)),
      sourceFacts: null,
      tools: request.tools,
      subject: about,
      ...(request.signal === undefined ? {} : { signal: request.signal }),
    });
    for (const name of required) {
      if (!checked.results.some((result) => result.check === name)) findings.push(finding('check-not-run', `\`${name}\` did not run`, `a result of \`${name}\``, about));
    }
    findings.push(...checked.findings);
    if (checked.xxh128 !== listed.xxh128) findings.push(finding('digest-differs', `XXH128 ${checked.xxh128}`, `XXH128 ${listed.xxh128}`, about));
  } catch (error) {
    request.signal?.throwIfAborted();
    const code = (error as NodeJS.ErrnoException).code;
    if (code === undefined) throw error;
    findings.push(finding('file-absent', code === 'ENOENT' ? 'no such file' : code, `${report.file.bytes} bytes`, about));
  }
  return findings;
}

/** What the deliverable report and roll.json say differently, and what the report itself says against being published. Pure. */
function disagreements(report: DeliverableReport, recorded: RollVerdict, clip: Clip, listed: Listed): [found: string, expected: string][] {
  const hash = recorded.profiles.find((profile) => profile.name === listed.profile)?.hash ?? 'none';
  const pairs: [what: string, found: string | null, expected: string | null][] = [
    ['state', report.state, listed.state],
    ['clip', report.clip.id, clip.clip.id],
    ['content', report.clip.contentDigest, clip.clip.contentDigest],
    ['profile', report.profile, listed.profile],
    ['profile hash', report.profileHash, hash],
    ['file', report.file?.path ?? null, listed.file],
    ['XXH128', report.file?.xxh128 ?? null, listed.xxh128],
    ['toolchain', report.toolchain.fingerprint, recorded.toolchain.fingerprint],
  ];
  const failed = report.checks.filter((check) => check.outcome !== 'passed').map((check): [string, string] => [`check \`${check.check}\` ${check.outcome}`, 'passed']);
  return [...pairs.filter(([, found, expected]) => found !== expected).map(([what, found, expected]): [string, string] => [`report: ${what} ${found ?? 'none'}`, `roll.json: ${what} ${expected ?? 'none'}`]), ...failed];
}
