/** The stills of a clip, where some are due: made from this content, as it is decided now, by these tools, checked, and there. Pure. */
import { type Finding, blocks, finding } from '../../findings/finding.ts';
import { stillsMismatch, type StillsOnDisk } from '../../ledger/stills.ts';
import type { StillsReport } from '../../ledger/stills-report.ts';
import { decideStills } from '../../profiles/stills/decide.ts';
import type { StillsOutcome } from '../../profiles/stills/schema.ts';
import { stillChecks } from '../../profiles/stills/usual.ts';
import type { GateClip, GateInput } from './input.ts';

/** What must come out; null: none are due, or none can be made. */
export function stillsDue({ clip, facts, settings }: GateClip): StillsOutcome | null {
  return facts === null || settings.stills === undefined
    ? null
    : decideStills({ clip, facts, asked: settings.stills }).stills;
}

/** `report` absent: none are due. */
export function judgeStills(
  entry: GateClip,
  input: Pick<GateInput, 'roll' | 'toolchain' | 'stills'>,
  clipFindings: readonly Finding[],
): { readonly report?: StillsReport | null; readonly findings: Finding[] } {
  const outcome = stillsDue(entry);
  if (outcome === null) return { findings: [] };
  const subject = { roll: input.roll, clip: entry.clip.id };
  const disk = input.stills?.get(entry.clip.id);
  if (disk?.damage) return { report: null, findings: [disk.damage] };
  const report = disk?.report ?? null;
  // Why something of the clip is not there is reported already: a second finding would only bury the first.
  const isReported = clipFindings.some(blocks);
  if (disk === undefined || report === null)
    return {
      report: null,
      findings: isReported
        ? []
        : [finding('stills-absent', 'no record', `${outcome.stills.length} stills`, subject)],
    };
  const why = stillsMismatch(report, {
    contentDigest: entry.clip.contentDigest,
    toolchain: input.toolchain.digest,
    outcome,
  });
  if (why !== null)
    return {
      report,
      findings: isReported
        ? []
        : [finding('stills-outdated', why, 'this content, these settings, this toolchain', subject)],
    };
  if (report.state !== 'published')
    return {
      report,
      findings:
        report.findings.some(blocks) || isReported
          ? [...report.findings]
          : [finding('stills-absent', report.state, 'published', subject)],
    };
  return {
    report,
    findings: [...judgeChecks(report, subject), ...judgeStillFiles({ ...disk, report }, input.roll)],
  };
}

function judgeChecks({ checks }: StillsReport, subject: { roll: string; clip: string }): Finding[] {
  return stillChecks.flatMap((name) => {
    const result = checks.find(({ check }) => check === name);
    if (result === undefined)
      return [finding('check-absent', `no result of the check \`${name}\``, 'a result, passed', subject)];
    return result.status === 'passed'
      ? []
      : [finding('check-failed', `\`${name}\`: ${result.measured}`, result.expected, subject)];
  });
}

/** Every still that the report names has the bytes that were checked, and it names all that were decided. */
export function judgeStillFiles(
  { report, files }: StillsOnDisk & { readonly report: StillsReport },
  roll: string,
): Finding[] {
  const subject = { roll, clip: report.clip.id };
  const wanted = report.outcome.stills.map(({ frame, file }) => `${frame} reports/stills/${file}`);
  const named = report.stills.map(({ frame, path }) => `${frame} ${path}`);
  const list =
    wanted.join('\n') === named.join('\n')
      ? []
      : [
          finding(
            'record-contradictory',
            `stills ${named.join(', ') || 'none'}`,
            `${wanted.join(', ')}, as decided`,
            subject,
          ),
        ];
  return [
    ...list,
    ...report.stills.flatMap(({ path, bytes, sha256 }, at) => {
      const now = files[at] ?? null;
      const about = { ...subject, file: path };
      if (now === null) return [finding('still-changed', 'no such file', `${bytes} bytes`, about)];
      return now.sha256 === sha256 && now.bytes === bytes
        ? []
        : [finding('still-changed', `SHA-256 ${now.sha256}`, `SHA-256 ${sha256}`, about)];
    }),
  ];
}
