/**
 * What of a ready roll was made by something else than is asked for now: another profile, other settings, other programs. An editor may work with it, so that a run
 * leaves it as it is unless it is asked to replace it.
 */
import { type Finding, finding } from '../../findings/finding.ts';
import type { Job } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import type { DeliverableReport } from '../../ledger/report.ts';
import { type RollVerdict, rollVerdictSchema } from '../../ledger/roll.ts';
import { areStillsThere, readStills, stillsMismatch } from '../../ledger/stills.ts';
import { readRecord } from '../../ledger/store.ts';
import type { Toolchain } from '../../ledger/toolchain.ts';
import { mismatchReason, wantedOf } from '../../ledger/wanted.ts';
import { readDeliverable } from '../gate/disk.ts';
import { type Difference, differences } from '../records/differences.ts';

/** How many fields are named. */
const NAMED = 4;
/** An estimate binds nobody. */
const ESTIMATES = new Set(['estimatedBytes', 'bytesRange']);

/** One finding for each deliverable, and for the stills of each clip, that would be replaced; none where roll.json is not ready. Reads no media. */
export async function standingOtherwise(jobs: readonly Job[], toolchain: Toolchain): Promise<Finding[]> {
  const findings: Finding[] = [];
  const verdicts = new Map<string, RollVerdict | null>();
  for (const job of jobs) {
    const { deliveryFolder } = job;
    if (!verdicts.has(deliveryFolder)) verdicts.set(deliveryFolder, await readyVerdict(deliveryFolder));
    const verdict = verdicts.get(deliveryFolder) ?? null;
    if (verdict === null) continue;
    for (const deliverable of job.deliverables) {
      const { name } = deliverable.profile;
      const { report, bytesOnDisk } = await readDeliverable(deliveryFolder, job.clip.id, name, 'leave');
      // What is not there is not replaced; what came of another recording of that name is not this clip's.
      if (report?.state !== 'published' || bytesOnDisk === null) continue;
      if (report.clip.contentDigest !== job.clip.contentDigest) continue;
      if (mismatchReason(report, wantedOf(job, deliverable)) === null) continue;
      findings.push(
        finding(
          'ready-made-otherwise',
          whatDiffers(report, { verdict, deliverable, toolchain }),
          'what is there',
          {
            roll: job.roll,
            clip: job.clip.id,
            profile: name,
            ...(report.file === null ? {} : { file: report.file.path }),
          },
        ),
      );
    }
    findings.push(...(await stillsOtherwise(job, toolchain)));
  }
  return findings;
}

/**
 * Of a pull, what stands and was made from other bytes than the clip has now: somebody may grade with it, and the same cut does not mean the same pictures any more.
 * No option replaces it.
 */
export async function pulledFromOthers(jobs: readonly Job[]): Promise<Finding[]> {
  const findings: Finding[] = [];
  for (const { deliveryFolder, clip, roll, deliverables } of jobs) {
    if (clip.stretch === undefined) continue;
    for (const { profile } of deliverables) {
      const { report, bytesOnDisk } = await readDeliverable(deliveryFolder, clip.id, profile.name, 'leave');
      if (report?.state !== 'published' || bytesOnDisk === null) continue;
      if (report.clip.contentDigest === clip.contentDigest) continue;
      findings.push(
        finding(
          'pull-source-changed',
          `content ${clip.contentDigest.slice(0, 16)}`,
          `content ${report.clip.contentDigest.slice(0, 16)}, of which the frames that stand were made`,
          { roll, clip: clip.id, profile: profile.name },
        ),
      );
    }
  }
  return findings;
}

async function readyVerdict(rollFolder: string): Promise<RollVerdict | null> {
  const read = await readRecord(layout.verdict(rollFolder), rollVerdictSchema);
  return read.state === 'read' && read.value.verdict === 'ready' ? read.value : null;
}

async function stillsOtherwise(job: Job, toolchain: Toolchain): Promise<Finding[]> {
  if (job.stills === undefined) return [];
  const disk = await readStills(job.deliveryFolder, job.clip.id);
  const { report } = disk;
  if (report?.state !== 'published' || !areStillsThere(disk)) return [];
  const wanted = {
    contentDigest: job.clip.contentDigest,
    toolchain: toolchain.digest,
    outcome: job.stills,
  };
  if (report.clip.contentDigest !== wanted.contentDigest || stillsMismatch(report, wanted) === null)
    return [];
  const what = [
    ...toolsDiffer(report.toolchain, toolchain),
    ...named('stills', differences(report.outcome, wanted.outcome)),
  ];
  return [
    finding('ready-made-otherwise', `stills: ${what.join('; ')}`, 'what is there', {
      roll: job.roll,
      clip: job.clip.id,
    }),
  ];
}

interface Asked {
  readonly verdict: RollVerdict;
  readonly deliverable: Job['deliverables'][number];
  readonly toolchain: Toolchain;
}

/** Pure. The nearest cause: what a profile or a toolchain changes in the outcome is not named twice. */
function whatDiffers(report: DeliverableReport, { verdict, deliverable, toolchain }: Asked): string {
  const { profile, profileHash, outcome } = deliverable;
  const before = verdict.profiles.find(({ name }) => name === profile.name)?.profile;
  const ofProfile =
    report.profileHash === profileHash
      ? []
      : named('profile', before === undefined ? [] : differences(before, profile, new Set(['summary'])));
  const ofSettings =
    ofProfile.length > 0 ? [] : named('settings', differences(report.outcome, outcome, ESTIMATES));
  const what = [...ofProfile, ...toolsDiffer(report.toolchain, toolchain), ...ofSettings];
  return what.length > 0 ? what.join('; ') : 'another profile';
}

function toolsDiffer(before: Toolchain, now: Toolchain): string[] {
  if (before.digest === now.digest) return [];
  const tools = now.tools.flatMap(({ name, version, build }) => {
    const old = before.tools.find((tool) => tool.name === name);
    if (old?.version === version && old.build === build) return [];
    return [
      `${name} ${old?.version ?? 'unknown'}, now ${version}${old?.version === version ? ' of another build' : ''}`,
    ];
  });
  return tools.length > 0 ? tools : [`recipe ${before.recipe}, now ${now.recipe}`];
}

function named(of: string, list: readonly Difference[]): string[] {
  const shown = list
    .slice(0, NAMED)
    .map(({ path, found, expected }) => `${of} ${path} ${found}, now ${expected}`);
  return list.length > NAMED ? [...shown, `${list.length - NAMED} more fields`] : shown;
}
