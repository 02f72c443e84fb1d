/** The decision of a roll of one clip that one job made in one profile. */
import { decideRoll } from '../../coordinator/gate/decide.ts';
import { readDeliverables, writeDecision } from '../../coordinator/gate/disk.ts';
import { blocks } from '../../findings/finding.ts';
import type { Job } from '../../ledger/job.ts';
import { workContext } from './work.ts';

function filesOf(place: Job['clip']['place']): string[] {
  if (place.kind === 'movie') return [place.file];
  if (place.kind === 'spanned') return place.parts.map(({ file }) => file);
  const { folder, prefix, suffix, padding, first, count } = place;
  return Array.from(
    { length: count },
    (_, at) => `${folder}/${prefix}${String(first + at).padStart(padding, '0')}${suffix}`,
  );
}

/** The gate on a roll of this one clip, whose copies hold, with every profile of the job due. */
export async function decisionOf(job: Job) {
  const { toolchain } = await workContext();
  const names = job.deliverables.map(({ profile }) => profile.name);
  const paths = filesOf(job.clip.place);
  const onDisk = await readDeliverables(job.deliveryFolder, [job.clip], names, 'measure');
  const decision = decideRoll({
    day: job.day,
    roll: job.roll,
    intake: {
      day: job.day,
      roll: job.roll,
      folder: job.rollFolder,
      manifests: [
        {
          file: 'checksums.md5',
          kind: 'md5',
          files: 1,
          digests: [{ file: 'checksums.md5', sha256: job.clip.contentDigest }],
        },
      ],
      copies: [{ folder: job.rollFolder, files: paths.length, bytes: job.clip.bytes, verified: true }],
      files: paths.map((path) => ({ path, bytes: Math.floor(job.clip.bytes / paths.length), hashes: {} })),
      findings: [],
    },
    copiesAsked: 1,
    clips: [
      {
        clip: job.clip,
        facts: job.facts,
        findings: [],
        settings: { camera: null, profiles: names, applied: [] },
      },
    ],
    recordings: [],
    otherFiles: [],
    profiles: job.deliverables.map(({ profile, profileHash }) => ({
      profile,
      hash: profileHash,
      origin: 'test',
    })),
    toolchain,
    onDisk,
    findings: [],
    timeZone: null,
    decidedAt: new Date().toISOString(),
  });
  return { decision, onDisk };
}

/** roll.json and all that belongs to it, as a night writes it for a roll of this one clip. */
export async function decide(job: Job): Promise<string[]> {
  const { decision, onDisk } = await decisionOf(job);
  await writeDecision(job.deliveryFolder, decision, { onDisk, stills: new Map() });
  return decision.verdict.findings.filter(blocks).map((item) => item.code);
}
