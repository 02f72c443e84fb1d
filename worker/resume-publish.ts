/** Folders that a crash kept from their final names: published, not made again. */
import { readdir } from 'node:fs/promises';
import { basename, dirname, join } from 'node:path';
import { publishFolder } from '../files/publish-folder.ts';
import type { Job } from '../ledger/job.ts';
import { layout } from '../ledger/layout.ts';
import { deliverableReportSchema } from '../ledger/report.ts';
import { settleKnown } from '../ledger/completion.ts';
import { readRecord } from '../ledger/store.ts';
import { wantedOf } from '../ledger/wanted.ts';
import { type Found, type FoundStaged, noneIfAbsent } from './found.ts';
import type { JobContext } from './context.ts';

/** What is there afterwards; its bytes are not read again, but where they were changed meanwhile. Throws as `publishFolder` does, and what the fence throws. */
export async function publishStaged(
  job: Job,
  { staged, checked, report, ...named }: FoundStaged,
  { fence, signal }: Pick<JobContext, 'fence' | 'signal'>,
): Promise<Found> {
  const { deliverable, final, ours } = named;
  await fence();
  const outcome = await publishFolder({
    staged,
    final,
    checked,
    isOurs: (digest) => ours.includes(digest),
    signal,
  });
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
    if (read.state === 'read' && read.value.state === 'publishing' && read.value.staged !== undefined)
      awaited.add(read.value.staged);
  }
  return awaited;
}
