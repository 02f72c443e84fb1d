/**
 * The gate: ready or held, from what was read and measured, and from nothing else. Pure. The night decides by it, and so
 * does the audit, which gives it the records and what it measured again.
 *
 * Everything that makes a roll ready must be there and be good; what is missing holds, and a finding says what is
 * missing. There is no value that passes by default: an empty list of clips, copies, profiles or checks holds.
 */
import { append } from '../../findings/append.ts';
import { type Finding, finding, blocks, uniqueFindings } from '../../findings/finding.ts';
import { findingsWithPlaces, type Mounts } from '../../ledger/portable.ts';
import type { ClipReport } from '../../ledger/report.ts';
import type { RollVerdict } from '../../ledger/roll.ts';
import type { LoadedProfile } from '../../profiles/schema.ts';
import { judgeDeliverable, requiredChecks } from './deliverable.ts';
import type { GateClip, GateInput } from './input.ts';
import type { StillsReport } from '../../ledger/stills-report.ts';
import { judgeStills } from './stills.ts';
import { judgeIntake, judgeRecord } from './roll-rules.ts';

export interface GateDecision {
  readonly verdict: RollVerdict;
  readonly clipReports: readonly ClipReport[];
}

const findingsOfRoll = (input: GateInput): Finding[] => [
  ...judgeIntake(input),
  ...judgeRecord(input),
  ...input.findings,
];

function findingsOfClip({ clip, facts, findings }: GateClip, roll: string): Finding[] {
  return facts === null && !findings.some(blocks)
    ? [...findings, finding('facts-absent', 'no facts', 'measured facts', { roll, clip: clip.id })]
    : [...findings];
}

/** What is found of a roll before anything of it is made: all that `decideRoll` says, but for its deliverables. */
export function findingsBeforeMaking(input: GateInput): Finding[] {
  return uniqueFindings([
    ...findingsOfRoll(input),
    ...input.clips.flatMap((entry) => findingsOfClip(entry, input.roll)),
  ]);
}

function profileInVerdict(loaded: LoadedProfile): RollVerdict['profiles'][number] {
  return {
    name: loaded.profile.name,
    hash: loaded.hash,
    checks: requiredChecks(loaded),
    profile: { ...loaded.profile },
  };
}

function deliverableInVerdict({
  profile,
  report,
}: ClipReport['deliverables'][number]): RollVerdict['clips'][number]['deliverables'][number] {
  const file = report?.file ?? null;
  return {
    profile,
    state: report?.state ?? 'absent',
    file: file?.path ?? null,
    bytes: file?.bytes ?? null,
    ...(file?.files === undefined ? {} : { files: file.files }),
    xxh128: file?.xxh128 ?? null,
    sha256: file?.sha256 ?? null,
    checks: report?.checks ?? [],
  };
}

/** None but published ones. */
function stillsInVerdict({
  state,
  stills,
}: StillsReport): NonNullable<RollVerdict['clips'][number]['stills']> {
  return state !== 'published'
    ? []
    : stills.map(({ frame, timecode, width, height, path, bytes, sha256 }) => ({
        frame,
        timecode,
        width,
        height,
        file: path,
        bytes,
        sha256,
      }));
}

/** Those that are due of a clip; of a roll whose clips are not known, all that the night may make. */
function profilesDue({ clips, recordings, profiles }: GateInput): readonly LoadedProfile[] {
  if (clips.length === 0 && recordings.length === 0) return profiles;
  const due = new Set(clips.flatMap(({ settings }) => settings.profiles));
  return profiles.filter(({ profile }) => due.has(profile.name));
}

export function decideRoll(input: GateInput): GateDecision {
  const judged = input.clips.map((entry) => judgeClip(entry, input));
  const findings = uniqueFindings([
    ...findingsOfRoll(input),
    ...judged.flatMap((clip) => clip.findings),
    ...sharedFiles(judged, input.roll),
  ]);
  const ready =
    !findings.some(blocks) &&
    (judged.length > 0 || input.recordings.length > 0) &&
    judged.every((clip) => clip.verdict === 'ready');
  return {
    verdict: {
      version: 0,
      kind: 'roll',
      verdict: ready ? 'ready' : 'held',
      day: input.day,
      roll: input.roll,
      decidedAt: input.decidedAt,
      toolchain: input.toolchain,
      manifests: input.intake?.manifests ?? [],
      copiesAsked: input.copiesAsked,
      copies: input.intake?.copies ?? [],
      profiles: profilesDue(input).map(profileInVerdict),
      ...(input.timeZone === null ? {} : { timeZone: input.timeZone }),
      clips: judged.map(({ clip, verdict, deliverables, stills }, index) => ({
        clip,
        verdict,
        settings: (input.clips[index] as GateClip).settings,
        deliverables: deliverables.map(deliverableInVerdict),
        ...(stills == null ? {} : { stills: stillsInVerdict(stills) }),
      })),
      ...(input.unused === undefined
        ? {}
        : { unused: input.unused.map(({ id, name, place }) => ({ id, name, place })) }),
      ...(input.recordings.length === 0 ? {} : { recordings: [...input.recordings] }),
      otherFiles: [...input.otherFiles],
      findings,
    },
    clipReports: judged,
  };
}

function judgeClip(entry: GateClip, input: GateInput): ClipReport {
  const { clip } = entry;
  const findings = findingsOfClip(entry, input.roll);
  const due = entry.settings.profiles;
  append(findings, judgeDue(entry, input));
  const loadedDue = input.profiles.filter(({ profile }) => due.includes(profile.name));
  const deliverables = loadedDue.map((loaded) => {
    const judged = judgeDeliverable({ clip, facts: entry.facts, loaded }, input, findings);
    append(findings, judged.findings);
    return { profile: loaded.profile.name, profileHash: loaded.hash, report: judged.report };
  });
  const stills = judgeStills(entry, input, findings);
  append(findings, stills.findings);
  const ready =
    entry.facts !== null &&
    deliverables.length > 0 &&
    deliverables.length === due.length &&
    deliverables.every((item) => item.report?.state === 'published') &&
    !findings.some(blocks);
  return {
    version: 0,
    kind: 'clip',
    day: input.day,
    roll: input.roll,
    clip,
    facts: entry.facts,
    deliverables,
    ...(stills.report === undefined ? {} : { stills: stills.report }),
    findings: uniqueFindings(findings),
    verdict: ready ? 'ready' : 'held',
  };
}

/** Of every clip something is due, each once, and of every profile it is known what it asks. */
function judgeDue({ clip, settings }: GateClip, { roll, profiles }: GateInput): Finding[] {
  const subject = { roll, clip: clip.id };
  const due = settings.profiles;
  if (due.length === 0)
    return [finding('profiles-absent', '0 profiles due of the clip', 'at least one', subject)];
  const names = new Set(profiles.map(({ profile }) => profile.name));
  return due.flatMap((name, index) => [
    // That the roll has none at all is found already.
    ...(names.size === 0 || names.has(name)
      ? []
      : [
          finding(
            'record-contradictory',
            'a profile that is due and not listed',
            'every profile that is due',
            {
              ...subject,
              profile: name,
            },
          ),
        ]),
    ...(due.indexOf(name) === index
      ? []
      : [
          finding('record-contradictory', 'a profile that is due twice', 'every profile once', {
            ...subject,
            profile: name,
          }),
        ]),
  ]);
}

/** Two deliverables that name one file: at most one of them can have made it. */
function sharedFiles(judged: readonly ClipReport[], roll: string): Finding[] {
  const owners = new Map<string, string>();
  const found: Finding[] = [];
  for (const { clip, deliverables } of judged) {
    for (const { profile, report } of deliverables) {
      if (!report?.file) continue;
      const { path } = report.file;
      const owner = owners.get(path);
      if (owner !== undefined)
        found.push(
          finding(
            'record-contradictory',
            `the file of ${clip.id} and of ${owner}`,
            'a file of one deliverable',
            { roll, clip: clip.id, profile, file: path },
          ),
        );
      owners.set(path, clip.id);
    }
  }
  return found;
}

/** The same by the names that places have on every machine. */
export function decisionWithPlaces({ verdict, clipReports }: GateDecision, mounts: Mounts): GateDecision {
  return {
    verdict: { ...verdict, findings: findingsWithPlaces(verdict.findings, mounts) },
    clipReports: clipReports.map((report) => ({
      ...report,
      findings: findingsWithPlaces(report.findings, mounts),
    })),
  };
}
