/** One required deliverable of the gate: made from this content, in this profile, by these tools, checked, and standing. Pure. */
import { type Finding, finding, holds } from '../../findings/finding.ts';
import type { Clip } from '../../ledger/clip.ts';
import type { DeliverableReport } from '../../ledger/report.ts';
import { type LoadedProfile, standingChecks } from '../../profiles/schema.ts';
import { deliverableKey, type GateInput } from './decide.ts';

/** What must have passed: the profile's own list and those that no profile can leave out. */
export function requiredChecks(loaded: LoadedProfile): string[] {
  return [...new Set<string>([...standingChecks, ...loaded.profile.checks])];
}

/** What of the gate's input one deliverable is judged by. */
export type DeliverableView = Pick<GateInput, 'day' | 'roll' | 'toolchain' | 'onDisk'>;

export function judgeDeliverable(clip: Clip, loaded: LoadedProfile, input: DeliverableView, clipFindings: readonly Finding[]): { report: DeliverableReport | null; findings: Finding[] } {
  const profile = loaded.profile.name;
  const subject = { roll: input.roll, clip: clip.id, profile };
  const disk = input.onDisk.get(deliverableKey(clip.id, profile));
  if (disk?.damage) return { report: null, findings: [disk.damage] };
  const report = disk?.report ?? null;
  if (disk === undefined || report === null) {
    // Why it was not made is told already: a second finding would only bury the first.
    const told = clipFindings.some((item) => holds(item) && (item.profile === undefined || item.profile === profile));
    return { report: null, findings: told ? [] : [finding('deliverable-absent', 'no report', 'a report of a published deliverable', subject)] };
  }
  const outdated = differences(report, clip, loaded, input);
  if (outdated.length > 0) {
    // What a stale report says of checks and findings is about something else: the report is shown, its findings are not.
    return { report, findings: outdated.map(([found, expected]) => finding('deliverable-outdated', found, expected, subject)) };
  }
  const findings: Finding[] = [...report.findings];
  if (report.state !== 'published') {
    if (!findings.some(holds)) findings.push(finding('deliverable-unpublished', report.state, 'published', subject));
    return { report, findings };
  }
  findings.push(...judgeChecks(report, loaded, subject), ...judgeFile(report, disk.standingBytes, subject));
  return { report, findings };
}

function differences(report: DeliverableReport, clip: Clip, loaded: LoadedProfile, input: DeliverableView): [found: string, expected: string][] {
  const pairs: [what: string, found: string, expected: string][] = [
    ['day', report.day, input.day],
    ['roll', report.roll, input.roll],
    ['clip', report.clip.id, clip.id],
    ['profile', report.profile, loaded.profile.name],
    ['content', report.clip.contentDigest, clip.contentDigest],
    ['profile hash', report.profileHash, loaded.hash],
    ['toolchain', report.toolchain.fingerprint, input.toolchain.fingerprint],
  ];
  return pairs.filter(([, found, expected]) => found !== expected).map(([what, found, expected]) => [`${what} ${found}`, `${what} ${expected}`]);
}

type Subject = { roll: string; clip: string; profile: string };

function judgeChecks(report: DeliverableReport, loaded: LoadedProfile, subject: Subject): Finding[] {
  const found: Finding[] = [];
  for (const check of requiredChecks(loaded)) {
    if (!report.checks.some((result) => result.check === check)) found.push(finding('check-absent', `no result of the check \`${check}\``, 'a result, passed', subject));
  }
  // One that was not asked for and failed holds as well: what is known to be wrong is wrong.
  for (const result of report.checks) {
    if (result.outcome !== 'passed') found.push(finding('check-failed', `${result.check}: ${result.measured}`, `${result.check}: ${result.expected}`, subject));
  }
  return found;
}

function judgeFile(report: DeliverableReport, standingBytes: number | null, subject: Subject): Finding[] {
  if (report.file === null) return [finding('file-absent', 'the report names no file', 'a file', subject)];
  const about = { ...subject, file: report.file.path };
  const found: Finding[] = [];
  if (standingBytes === null) found.push(finding('file-absent', 'no such file', `${report.file.bytes} bytes`, about));
  else if (standingBytes !== report.file.bytes || standingBytes === 0) found.push(finding('file-size-differs', `${standingBytes} bytes`, `${report.file.bytes} bytes, not empty`, about));
  if (report.facts === null) found.push(finding('facts-absent', 'the deliverable was not measured', 'facts measured of the staged file', about));
  return found;
}
