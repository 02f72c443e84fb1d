/** The records of one roll of a delivery, as they lie there, put together as the gate takes them. */
import { type Finding, finding } from '../../findings/finding.ts';
import { layout } from '../../ledger/layout.ts';
import { type ClipReport, clipReportSchema } from '../../ledger/report.ts';
import type { RollVerdict } from '../../ledger/roll.ts';
import { readStillsOf, type StillsOnDisk } from '../../ledger/stills.ts';
import { readRecord } from '../../ledger/store.ts';
import { toolchainDigest } from '../../ledger/toolchain.ts';
import { profileHash } from '../../profiles/hash.ts';
import { type LoadedProfile, anyProfileSchema } from '../../profiles/schema.ts';
import { type DeliverableOnDisk, deliverableKey, type GateInput } from '../gate/input.ts';
import { readDueDeliverables } from '../gate/disk.ts';
import { sha256Of } from '../provenance/parts.ts';

export interface RollRecords {
  readonly verdict: RollVerdict;
  readonly profiles: readonly LoadedProfile[];
  /** By clip id; those that can be read. */
  readonly clipReports: ReadonlyMap<string, ClipReport>;
  /** SHA-256 of the clip reports' files, by clip id. */
  readonly clipReportDigests: ReadonlyMap<string, string>;
  readonly onDisk: ReadonlyMap<string, DeliverableOnDisk>;
  /** By clip id. */
  readonly stills: ReadonlyMap<string, StillsOnDisk>;
  /** What is absent, damaged, or not what it calls itself. */
  readonly findings: readonly Finding[];
}

export async function readRecords(folder: string, verdict: RollVerdict): Promise<RollRecords> {
  const { roll } = verdict;
  const { profiles, findings } = profilesOf(verdict);
  const clipReports = new Map<string, ClipReport>();
  const clipReportDigests = new Map<string, string>();
  for (const { clip } of verdict.clips) {
    const subject = { roll, clip: clip.id };
    const read = await readRecord(layout.clipReport(folder, clip.id), clipReportSchema);
    if (read.state === 'absent')
      findings.push(finding('report-absent', 'no clip report', 'a clip report', subject));
    else if (read.state === 'damaged') findings.push({ ...read.finding, ...subject });
    else {
      clipReports.set(clip.id, read.value);
      clipReportDigests.set(clip.id, sha256Of(read.bytes));
    }
  }
  for (const { clip, settings } of verdict.clips)
    if (settings === undefined)
      findings.push(
        finding(
          'record-incomplete',
          'roll.json does not say which profiles are due of the clip',
          'the settings that the clip was made by',
          { roll, clip: clip.id },
        ),
      );
  const onDisk = await readDueDeliverables(folder, clipsDue(verdict), 'leave');
  for (const { clip, deliverables } of verdict.clips) {
    for (const { profile, state } of deliverables) {
      const disk = onDisk.get(deliverableKey(clip.id, profile));
      if (state !== 'absent' && disk?.report === null && disk.damage === null)
        findings.push(
          finding('report-absent', 'no deliverable report', 'a deliverable report', {
            roll,
            clip: clip.id,
            profile,
          }),
        );
    }
  }
  const { recipe, tools, digest } = verdict.toolchain;
  if (toolchainDigest(recipe, tools) !== digest)
    findings.push(
      finding(
        'record-contradictory',
        `toolchain ${digest}`,
        `${toolchainDigest(recipe, tools)}, of the tools that it lists`,
        { roll },
      ),
    );
  const stills = await readStillsOf(
    folder,
    verdict.clips.map(({ clip }) => clip),
  );
  return { verdict, profiles, clipReports, clipReportDigests, onDisk, stills, findings };
}

const dueOf = ({ clips, profiles }: RollVerdict, index: number): string[] =>
  clips[index]?.settings?.profiles ?? profiles.map(({ name }) => name);

/** Every clip with the profiles that are due of it. Of a record that does not say so, all: nothing is left out of what is measured. */
export function clipsDue(
  verdict: RollVerdict,
): { clip: RollVerdict['clips'][number]['clip']; due: string[]; stillsDue: boolean }[] {
  return verdict.clips.map(({ clip, stills }, index) => ({
    clip,
    due: dueOf(verdict, index),
    stillsDue: stills !== undefined,
  }));
}

/** The profiles that roll.json spells out: each must be what its hash says. */
function profilesOf({ roll, profiles }: RollVerdict): { profiles: LoadedProfile[]; findings: Finding[] } {
  const loaded: LoadedProfile[] = [];
  const findings: Finding[] = [];
  for (const { name, hash, profile } of profiles) {
    const subject = { roll, profile: name };
    const parsed = anyProfileSchema.safeParse(profile);
    if (!parsed.success) {
      findings.push(
        finding(
          'record-incomplete',
          profile === undefined
            ? 'roll.json does not say what the profile asks'
            : `a profile that cannot be read: ${parsed.error.issues[0]?.path.join('.') ?? ''} ${parsed.error.issues[0]?.message ?? ''}`,
          'every field of the profile',
          subject,
        ),
      );
      continue;
    }
    const own = profileHash(parsed.data);
    if (own !== hash || parsed.data.name !== name)
      findings.push(
        finding(
          'record-contradictory',
          `profile ${name}, hash ${hash}`,
          `profile ${parsed.data.name}, hash ${own}, of what it says`,
          subject,
        ),
      );
    loaded.push({ profile: parsed.data, hash, origin: 'roll.json' });
  }
  return { profiles: loaded, findings };
}

/** What the night gave the gate, as far as records tell it. */
export function gateInputOf(records: RollRecords, findings: readonly Finding[]): GateInput {
  const { verdict, profiles, clipReports, onDisk, stills } = records;
  const { day, roll, manifests, copies, clips, otherFiles, toolchain, decidedAt } = verdict;
  return {
    day,
    roll,
    intake: { day, roll, manifests, copies, files: null, findings: [] },
    // A record that does not say how many were asked for lacks it.
    copiesAsked: verdict.copiesAsked ?? copies.length + 1,
    timeZone: verdict.timeZone ?? null,
    clips: clips.map(({ clip, settings }, index) => ({
      clip,
      settings: settings ?? { camera: null, profiles: dueOf(verdict, index), applied: [] },
      facts: clipReports.get(clip.id)?.facts ?? null,
      findings: clipReports.get(clip.id)?.findings ?? [],
    })),
    ...(verdict.unused === undefined ? {} : { unused: verdict.unused }),
    recordings: verdict.recordings ?? [],
    otherFiles,
    profiles,
    toolchain,
    onDisk,
    stills,
    findings,
    decidedAt,
  };
}
