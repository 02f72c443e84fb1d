/**
 * A folder that was checked, whose report says `publishing`, and that a crash kept from its final name: it lies there whole
 * under its staging name, and is hours of work. It is published, not made again. The report says which one it is; that it
 * is still the one that was checked, its bytes say.
 */
import { codeOf } from '../files/error-code.ts';
import { readdir } from 'node:fs/promises';
import { basename, dirname, join } from 'node:path';
import type { Job } from '../ledger/job.ts';
import { layout } from '../ledger/layout.ts';
import { type DeliverableReport, deliverableReportSchema } from '../ledger/report.ts';
import { ownDigests, whyOtherWork } from '../ledger/settle.ts';
import { readRecord } from '../ledger/store.ts';
import { digestOfFolder } from '../files/folder-digest.ts';
import { publishFolder } from '../files/publish-folder.ts';
import { leftovers } from './target.ts';

type Deliverable = Job['deliverables'][number];

/** What `list` finds; of a folder that nobody has made yet, nothing. */
async function found(list: Promise<string[]>): Promise<string[]> {
  try {
    return await list;
  } catch (error) {
    if (codeOf(error) === 'ENOENT') return [];
    throw error;
  }
}

/** `fence` as in JobContext. Where there is no such folder it does nothing; whether it stands afterwards is asked as ever. Throws as `publishFolder` does. */
export async function publishLeftover(
  job: Job,
  deliverable: Deliverable,
  report: DeliverableReport,
  fence: () => Promise<void>,
  signal: AbortSignal,
): Promise<void> {
  const { file, staged: name } = report;
  const wanted = {
    contentDigest: job.clip.contentDigest,
    profileHash: deliverable.profileHash,
    toolchain: job.toolchain,
    outcome: deliverable.outcome,
  };
  if (
    report.state !== 'publishing' ||
    file?.files === undefined ||
    name === undefined ||
    whyOtherWork(report, wanted) !== null
  )
    return;
  const final = layout.deliverable(
    job.deliveryFolder,
    deliverable.profile.name,
    deliverable.outcome.fileName,
  );
  const path = `${deliverable.profile.name}/${deliverable.outcome.fileName}`;
  // Of a process that still runs, or of another machine's, nobody knows what it is about to do with it.
  if (file.path !== path || !(await found(leftovers(dirname(final)))).includes(name)) return;
  const staged = join(dirname(final), name);
  const checked = await digestOfFolder(staged, signal);
  if (checked.xxh128 !== file.xxh128 || checked.sha256 !== file.sha256 || checked.bytes !== file.bytes)
    return;
  await fence();
  await publishFolder({
    staged,
    final,
    checked,
    isOurs: (digest) => ownDigests(report, path).includes(digest),
    signal,
  });
}

/** Staging names that reports of other clips in this profile wait for: their jobs publish them. */
export async function awaitedByOthers(job: Job, profile: string): Promise<ReadonlySet<string>> {
  const own = layout.deliverableReport(job.deliveryFolder, job.clip.id, profile);
  const awaited = new Set<string>();
  for (const name of await found(readdir(dirname(own)))) {
    if (name === basename(own) || !name.endsWith(`.${profile}.json`)) continue;
    const read = await readRecord(join(dirname(own), name), deliverableReportSchema);
    if (read.state === 'read' && read.value.state === 'publishing' && read.value.staged !== undefined)
      awaited.add(read.value.staged);
  }
  return awaited;
}
