/** A day as the model of one, from source facts and the decisions of real profiles, without a file on disk: what handovers are written from. */
import type { Day, DayClip, DayRoll } from '../../handover/day.ts';
import { dayClip } from '../../handover/day-clip.ts';
import type { Clip } from '../../ledger/clip.ts';
import type { ClipReport, DeliverableReport } from '../../ledger/report.ts';
import type { RollVerdict } from '../../ledger/roll.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { decideOutcome } from '../../profiles/outcome/any.ts';
import { builtInProfiles } from '../../profiles/load.ts';
import type { LoadedProfile } from '../../profiles/schema.ts';

export interface ModelClip {
  readonly clip: Clip;
  readonly facts: ClipFacts;
  /** Names of built-in profiles. */
  readonly profiles: readonly string[];
  /** Camera of the settings. */
  readonly camera?: string;
}

const toolchain: RollVerdict['toolchain'] = {
  rushlight: '0.1.0',
  recipe: 1,
  tools: [],
  digest: 'f'.repeat(64),
};
const DIGEST = 'ab'.repeat(32);

function reportOf(
  day: string,
  roll: string,
  { clip, facts }: ModelClip,
  loaded: LoadedProfile,
): DeliverableReport {
  const { profile, hash } = loaded;
  const decided = decideOutcome({ day, roll, clip, facts, profile });
  if (decided.outcome === null)
    throw new Error(`${clip.name}: ${decided.findings.map(({ code }) => code).join(', ')}`);
  return {
    version: 0,
    kind: 'deliverable',
    day,
    roll,
    clip,
    profile: profile.name,
    profileHash: hash,
    toolchain,
    state: 'published',
    outcome: decided.outcome,
    file: {
      path: `${profile.name}/${decided.outcome.fileName}`,
      bytes: 1000,
      xxh128: '0'.repeat(32),
      sha256: DIGEST,
      ...(decided.outcome.kind === 'frames' ? { files: decided.outcome.frames + 1 } : {}),
    },
    facts: null,
    checks: [],
    findings: [],
    startedAt: '2026-01-02T03:04:05Z',
    finishedAt: '2026-01-02T03:04:05Z',
    host: 'a',
    attempt: 1,
    command: [],
  };
}

export interface ModelRecords {
  readonly verdict: RollVerdict;
  readonly reports: readonly ClipReport[];
}

/** roll.json and the clip reports, as a run would write them of this roll. */
export async function modelRecords(
  roll: string,
  clips: readonly ModelClip[],
  day = 'day-07',
): Promise<ModelRecords> {
  const loaded = await builtInProfiles();
  const named = (name: string): LoadedProfile => {
    const found = loaded.find(({ profile }) => profile.name === name);
    if (found === undefined) throw new Error(`no profile ${name}`);
    return found;
  };
  const made = clips.map((one) => ({
    one,
    reports: one.profiles.map((name) => reportOf(day, roll, one, named(name))),
  }));
  const verdict: RollVerdict = {
    version: 0,
    kind: 'roll',
    verdict: 'ready',
    day,
    roll,
    decidedAt: '2026-01-02T03:04:05Z',
    toolchain,
    manifests: [],
    copies: [],
    profiles: [],
    clips: made.map(({ one, reports }) => ({
      clip: one.clip,
      verdict: 'ready',
      settings: { camera: one.camera ?? null, profiles: [...one.profiles], applied: [] },
      deliverables: reports.map(({ profile, file }) => ({
        profile,
        state: 'published',
        file: file?.path ?? null,
        bytes: file?.bytes ?? null,
        ...(file?.files === undefined ? {} : { files: file.files }),
        xxh128: file?.xxh128 ?? null,
        sha256: file?.sha256 ?? null,
      })),
    })),
    otherFiles: [],
    findings: [],
  };
  const reports = made.map(
    ({ one, reports: own }): ClipReport => ({
      version: 0,
      kind: 'clip',
      day,
      roll,
      clip: one.clip,
      facts: one.facts,
      deliverables: own.map((each) => ({
        profile: each.profile,
        profileHash: each.profileHash,
        report: each,
      })),
      findings: [],
      verdict: 'ready',
    }),
  );
  return { verdict, reports };
}

export async function modelRoll(roll: string, clips: readonly ModelClip[], day = 'day-07'): Promise<DayRoll> {
  const { verdict, reports } = await modelRecords(roll, clips, day);
  const dayClips = verdict.clips.map(
    (entry, at): DayClip => dayClip({ roll, folder: roll, verdict, entry, report: reports[at] ?? null }),
  );
  return {
    roll,
    folder: roll,
    verdict: 'ready',
    decidedAt: verdict.decidedAt,
    timeZone: null,
    copies: 1,
    copiesRead: [],
    manifests: [],
    profiles: [],
    toolchain,
    findings: [],
    otherFiles: [],
    recordings: [],
    clips: dayClips,
    records: { verdict: DIGEST, statement: DIGEST },
  };
}

export const modelDay = (rolls: readonly DayRoll[], day = 'day-07'): Day => ({ day, timeZone: null, rolls });
