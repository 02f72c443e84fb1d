/** The decision of a roll of one clip that one job made in one profile. */
import { decideRoll } from '../../coordinator/gate/decide.ts';
import { readDeliverables, writeDecision } from '../../coordinator/gate/disk.ts';
import { blocks } from '../../findings/finding.ts';
import type { Job } from '../../ledger/job.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { workContext } from './work.ts';

/** roll.json and all that belongs to it, as a night writes it for a roll of this one clip. */
export async function decide(job: Job, profile: string): Promise<string[]> {
  const { toolchain } = await workContext();
  const { profiles } = await loadProfiles({ wanted: [profile] });
  const onDisk = await readDeliverables(job.deliveryFolder, [job.clip], [profile], 'measure');
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
          kind: 'checksum-file',
          files: 1,
          digests: [{ file: 'checksums.md5', sha256: job.clip.contentDigest }],
        },
      ],
      copies: [{ folder: job.rollFolder, files: 1, bytes: job.clip.bytes, verified: true }],
      files: [{ path: `${job.clip.name}.mov`, bytes: job.clip.bytes, hashes: {} }],
      findings: [],
    },
    copiesAsked: 1,
    clips: [
      {
        clip: job.clip,
        facts: job.facts,
        findings: [],
        settings: { camera: null, profiles: profiles.map(({ profile }) => profile.name), applied: [] },
      },
    ],
    otherFiles: [],
    profiles,
    toolchain,
    onDisk,
    findings: [],
    timeZone: null,
    decidedAt: new Date().toISOString(),
  });
  await writeDecision(job.deliveryFolder, decision, onDisk);
  return decision.verdict.findings.filter(blocks).map((item) => item.code);
}
