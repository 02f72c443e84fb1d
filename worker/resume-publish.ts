/** Folders, and movies with files beside them, that a crash kept from their final names: published, not made again. */
import { readdir } from 'node:fs/promises';
import { basename, dirname, join } from 'node:path';
import { isFolderDigest } from '../files/folder-digest.ts';
import { publishFolder } from '../files/publish-folder.ts';
import { publishTogether } from '../files/publish-together.ts';
import type { Job } from '../ledger/job.ts';
import { layout } from '../ledger/layout.ts';
import { deliverableReportSchema } from '../ledger/report.ts';
import { settleKnown } from '../ledger/completion.ts';
import { awaitedNames } from '../ledger/sidecars.ts';
import { readRecord } from '../ledger/store.ts';
import { wantedOf } from '../ledger/wanted.ts';
import { type Found, type FoundStaged, noneIfAbsent } from './found.ts';
import { claimFor } from './claims.ts';
import type { JobContext } from './context.ts';
import { obsoleteBeside } from './sidecars.ts';

/** What is there afterwards; its bytes are not read again, but where they were changed meanwhile. Throws as `publishFolder` does, and what the fence throws. */
export async function publishStaged(
  job: Job,
  { staged, checked, beside, report, ...named }: FoundStaged,
  { fence, machine, signal }: Pick<JobContext, 'fence' | 'machine' | 'signal'>,
): Promise<Found> {
  const { deliverable, final, ours } = named;
  const claim = await claimFor(job, deliverable.profile.name, { fence, machine });
  await claim?.assertHighest();
  const request = { staged, final, isOurs: (digest: string) => ours.includes(digest), signal };
  const outcome = isFolderDigest(checked)
    ? await publishFolder({ ...request, checked })
    : await publishTogether({ ...request, checked, beside, obsolete: obsoleteBeside(job, deliverable) });
  if (outcome.kind === 'taken')
    return { ...named, there: 'nothing', why: `its name is taken: ${outcome.found}` };
  const completion = await settleKnown(report, job.deliveryFolder, wantedOf(job, deliverable), checked);
  return completion.state === 'finished'
    ? { ...named, there: 'published', completion }
    : { ...named, there: 'nothing', why: completion.why };
}

/** Staging names that reports of other clips in this profile wait for: their jobs publish them. */
export async function awaitedByOthers(job: Job, profile: string): Promise<ReadonlySet<string>> {
  const own = layout.deliverableReport(job.deliveryFolder, job.clip.id, profile);
  const awaited = new Set<string>();
  for (const name of await noneIfAbsent(readdir(dirname(own)))) {
    if (name === basename(own) || !name.endsWith(`.${profile}.json`)) continue;
    const read = await readRecord(join(dirname(own), name), deliverableReportSchema);
    if (read.state === 'read') for (const staged of awaitedNames(read.value)) awaited.add(staged);
  }
  return awaited;
}
