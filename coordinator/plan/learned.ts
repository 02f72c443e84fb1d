/** What compressed masters took before, from the reports of the delivery: estimates rest on it, decisions never do. */
import { codeOf } from '../../files/error-code.ts';
import { readdir } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { deliverableReportSchema } from '../../ledger/report.ts';
import { readRecord } from '../../ledger/store.ts';
import { isMasterOutcome } from '../../profiles/outcome/any.ts';
import { isMaster, type LoadedProfile } from '../../profiles/schema.ts';

/** Reports that are read for each profile: what was shot last is most like what is shot next. */
const MOST_REPORTS = 50;

async function names(folder: string): Promise<string[]> {
  try {
    return await readdir(folder);
  } catch (error) {
    if (codeOf(error) === '') throw error;
    return [];
  }
}

/** Bytes a pixel by profile hash; profiles of which nothing was made are left out. `rollFolders`: <delivery>/<day>/<roll> of the rolls at hand; their days and those beside them are looked at, the last names first. */
export async function learnedSizes(
  rollFolders: readonly string[],
  profiles: readonly LoadedProfile[],
): Promise<Record<string, number>> {
  const wanted = profiles.filter(
    ({ profile }) => isMaster(profile) && profile.format === 'exr' && profile.compression !== 'none',
  );
  if (wanted.length === 0) return {};
  const sums = new Map(wanted.map(({ hash }) => [hash, { bytes: 0, pixels: 0, reports: 0 }]));
  for (const delivery of new Set(rollFolders.map((folder) => dirname(dirname(folder))))) {
    for (const day of (await names(delivery)).sort().reverse()) {
      for (const roll of (await names(join(delivery, day))).sort().reverse()) {
        const folder = join(delivery, day, roll, 'reports', 'deliverables');
        const reports = await names(folder);
        for (const { profile, hash } of wanted) {
          const sum = sums.get(hash) as { bytes: number; pixels: number; reports: number };
          for (const name of reports
            .filter((one) => one.endsWith(`.${profile.name}.json`))
            .slice(0, MOST_REPORTS - sum.reports)) {
            const read = await readRecord(join(folder, name), deliverableReportSchema);
            if (read.state !== 'read') continue;
            const { file, state, outcome, profileHash } = read.value;
            if (state !== 'published' || file === null || profileHash !== hash || !isMasterOutcome(outcome))
              continue;
            sum.bytes += file.bytes;
            sum.pixels += outcome.frames * outcome.width * outcome.height;
            sum.reports += 1;
          }
        }
      }
    }
  }
  return Object.fromEntries(
    [...sums]
      .filter(([, { pixels }]) => pixels > 0)
      .map(([hash, { bytes, pixels }]) => [hash, bytes / pixels]),
  );
}
