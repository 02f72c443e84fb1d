/**
 * The gate: ready or held, from what was read and measured, and from nothing else. Pure.
 *
 * Everything that makes a roll ready must be there and be good; what is missing holds, and a finding says what is
 * missing. There is no value that passes by default: an empty list of clips, copies, profiles or checks holds.
 */
import { type Finding, finding, holds } from '../../findings/finding.ts';
import type { Clip } from '../../ledger/clip.ts';
import type { ClipReport, DeliverableReport } from '../../ledger/report.ts';
import type { IntakeResult, RollVerdict } from '../../ledger/roll.ts';
import type { Toolchain } from '../../ledger/toolchain.ts';
import type { ClipFacts } from '../../media/facts.ts';
import type { LoadedProfile } from '../../profiles/schema.ts';
import { judgeDeliverable, requiredChecks } from './deliverable.ts';
import { unaccountedFiles } from './files.ts';

/** What lies on disk for one clip in one profile. */
export interface DeliverableOnDisk {
  /** null: no report, or one that cannot be read (then `damage`). */
  readonly report: DeliverableReport | null;
  readonly damage: Finding | null;
  /** Size of the file that the report names, in bytes; null when it does not stand. */
  readonly standingBytes: number | null;
}

export interface GateClip {
  readonly clip: Clip;
  /** null: could not be measured; then a finding says why. */
  readonly facts: ClipFacts | null;
  /** Of survey, and the plan's refusals. */
  readonly findings: readonly Finding[];
}

export interface GateInput {
  readonly day: string;
  readonly roll: string;
  /** null: intake did not come to an end. */
  readonly intake: IntakeResult | null;
  /** How many copies the night was told of, the shoot day's own among them. */
  readonly copiesAsked: number;
  readonly clips: readonly GateClip[];
  /** Files of the roll that survey took for no clip. */
  readonly otherFiles: readonly string[];
  readonly profiles: readonly LoadedProfile[];
  readonly toolchain: Toolchain;
  /** By `deliverableKey`. */
  readonly onDisk: ReadonlyMap<string, DeliverableOnDisk>;
  /** Of the roll as a whole, and what the night says of it (interrupted, target full, …). */
  readonly findings: readonly Finding[];
  /** ISO 8601 UTC. */
  readonly decidedAt: string;
}

export interface GateDecision {
  readonly verdict: RollVerdict;
  readonly clipReports: readonly ClipReport[];
}

export function deliverableKey(clipId: string, profile: string): string {
  return `${clipId}/${profile}`;
}

export function decideRoll(input: GateInput): GateDecision {
  const rollFindings = [...judgeIntake(input), ...judgeNight(input), ...input.findings];
  const judged = input.clips.map((entry) => judgeClip(entry, input));
  const findings = unique([...rollFindings, ...judged.flatMap((clip) => clip.findings)]);
  const ready = !findings.some(holds) && judged.length > 0 && judged.every((clip) => clip.verdict === 'ready');
  return {
    verdict: {
      version: 1,
      kind: 'roll',
      verdict: ready ? 'ready' : 'held',
      day: input.day,
      roll: input.roll,
      decidedAt: input.decidedAt,
      toolchain: input.toolchain,
      manifests: input.intake?.manifests ?? [],
      copies: input.intake?.copies ?? [],
      profiles: input.profiles.map((loaded) => ({ name: loaded.profile.name, hash: loaded.hash, checks: requiredChecks(loaded) })),
      clips: judged.map((clip) => ({
        clip: clip.clip,
        verdict: clip.verdict,
        deliverables: clip.deliverables.map(({ profile, report }) => ({
          profile,
          state: report?.state ?? 'absent',
          file: report?.file?.path ?? null,
          bytes: report?.file?.bytes ?? null,
          xxh128: report?.file?.xxh128 ?? null,
        })),
      })),
      otherFiles: [...input.otherFiles],
      findings,
    },
    clipReports: judged,
  };
}

/** Every copy was read whole and equals the manifest, and intake itself found nothing that holds. */
function judgeIntake(input: GateInput): Finding[] {
  const { intake, roll } = input;
  if (intake === null) return [finding('intake-absent', 'intake did not come to an end', 'every copy read whole', { roll })];
  const found: Finding[] = [...intake.findings];
  if (intake.day !== input.day || intake.roll !== input.roll) {
    found.push(finding('intake-absent', `an intake of ${intake.day}/${intake.roll}`, `the intake of ${input.day}/${input.roll}`, { roll }));
  }
  if (input.copiesAsked < 1 || intake.copies.length < input.copiesAsked) {
    found.push(finding('intake-absent', `${intake.copies.length} copies read`, `${Math.max(1, input.copiesAsked)} copies read`, { roll }));
  }
  if (intake.manifests.length === 0 && !intake.findings.some(holds)) {
    found.push(finding('intake-absent', 'no manifest was read', 'at least one manifest', { roll }));
  }
  for (const copy of intake.copies) {
    if (!copy.holds) found.push(finding('copy-not-proved', `${copy.files} files, ${copy.bytes} bytes read; not equal to the manifest`, 'every file of the manifest, equal to it', { roll, copy: copy.folder }));
  }
  return found;
}

/** There is something to prove, and nothing of the roll was left out of it. */
function judgeNight(input: GateInput): Finding[] {
  const { roll } = input;
  const found: Finding[] = [];
  if (input.profiles.length === 0) found.push(finding('profiles-absent', '0 profiles', 'at least one', { roll }));
  const intakeHolds = input.intake !== null && input.intake.copies.every((copy) => copy.holds) && !input.intake.findings.some(holds);
  // A roll that failed intake is not surveyed; its empty list of clips says nothing of its own.
  if (input.clips.length === 0 && intakeHolds && !input.findings.some(holds)) {
    found.push(finding('roll-empty', '0 clips', 'at least one clip', { roll }));
  }
  if (input.clips.length > 0 && input.intake !== null) {
    for (const path of unaccountedFiles(input.intake.files, input.clips.map((entry) => entry.clip), input.otherFiles)) {
      found.push(finding('file-unaccounted', 'neither part of a clip nor told as another file', 'every file of the roll told', { roll, file: path }));
    }
  }
  const seen = new Set<string>();
  for (const { clip } of input.clips) {
    if (seen.has(clip.id)) found.push(finding('clip-twice', `two clips are called ${clip.id}`, 'every clip once', { roll, clip: clip.id }));
    seen.add(clip.id);
  }
  return found;
}

function judgeClip(entry: GateClip, input: GateInput): ClipReport {
  const { clip } = entry;
  const subject = { roll: input.roll, clip: clip.id };
  const findings: Finding[] = [...entry.findings];
  if (entry.facts === null && !findings.some(holds)) findings.push(finding('facts-absent', 'no facts', 'measured facts', subject));
  const deliverables = input.profiles.map((loaded) => {
    const judged = judgeDeliverable(clip, loaded, input, findings);
    findings.push(...judged.findings);
    return { profile: loaded.profile.name, profileHash: loaded.hash, report: judged.report };
  });
  const ready = entry.facts !== null && deliverables.length > 0 && deliverables.every((item) => item.report?.state === 'published') && !findings.some(holds);
  return { version: 1, kind: 'clip', day: input.day, roll: input.roll, clip, facts: entry.facts, deliverables, findings: unique(findings), verdict: ready ? 'ready' : 'held' };
}

function unique(list: readonly Finding[]): Finding[] {
  const seen = new Map<string, Finding>();
  for (const item of list) seen.set(JSON.stringify([item.code, item.roll, item.copy, item.clip, item.file, item.profile, item.found, item.expected]), item);
  return [...seen.values()];
}
