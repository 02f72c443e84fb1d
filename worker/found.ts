/**
 * What is there of each deliverable of a job when the job begins: found once, and the rest of the job decides from it. Every
 * byte that lies there is read once for it. Right before a final name is given, the publishing looks again at what could
 * have changed since (files/publish.ts): hours may lie between.
 */
import { lstat } from 'node:fs/promises';
import { basename, dirname, join } from 'node:path';
import { type DeliverableDigest, digestOfDeliverable, isFolderDigest } from '../files/folder-digest.ts';
import { fsPath } from '../files/names.ts';
import type { StagedFile } from '../files/publish-together.ts';
import { isMasterWork, type Job } from '../ledger/job.ts';
import { layout } from '../ledger/layout.ts';
import { type DeliverableReport, deliverableReportSchema } from '../ledger/report.ts';
import { type Finished, replaceableDigests, completionOf } from '../ledger/completion.ts';
import { readRecord } from '../ledger/store.ts';
import { wantedOf, mismatchReason } from '../ledger/wanted.ts';
import type { Deliverable } from './context.ts';
import { foundBeside } from './sidecars.ts';
import { leftovers } from './target.ts';

/** Of every deliverable, whatever is there. */
interface Named {
  readonly deliverable: Deliverable;
  /** Final place below the roll's delivery folder, and absolute. */
  readonly path: string;
  readonly final: string;
  /** XXH128 of what the report at hand names as ours under that name: only these are ever replaced. */
  readonly ours: readonly string[];
}

/** `why` there is no more than that: for logs and tests. */
export type FoundNothing = Named & { readonly there: 'nothing'; readonly why: string };
/**
 * A folder, or a movie with files beside it, that was checked, whose report says `publishing`, and that a crash kept from its final name: it lies there whole
 * under its staging name, and is hours of work. Its bytes are those that were checked.
 */
export type FoundStaged = Named & {
  readonly there: 'staged';
  readonly report: DeliverableReport;
  readonly staged: string;
  readonly checked: DeliverableDigest;
  /** Files beside a movie, wherever each of them is now; none of a folder. */
  readonly beside: readonly StagedFile[];
};
export type FoundPublished = Named & { readonly there: 'published'; readonly completion: Finished };
/** What cannot be ours: no report of ours names anything there, and it is another kind of thing than this deliverable is. */
export type FoundOthers = Named & { readonly there: 'others'; readonly what: string };
export type Found = FoundNothing | FoundStaged | FoundPublished | FoundOthers;

/** In the order of the job's deliverables. Throws what node:fs throws where it is no answer, and the signal's reason. */
export async function findDeliverables(job: Job, signal: AbortSignal): Promise<Found[]> {
  const found: Found[] = [];
  for (const deliverable of job.deliverables) found.push(await findDeliverable(job, deliverable, signal));
  return found;
}

async function findDeliverable(job: Job, deliverable: Deliverable, signal: AbortSignal): Promise<Found> {
  const { profile, outcome } = deliverable;
  const path = `${profile.name}/${outcome.fileName}`;
  const report = await reportOf(job, deliverable);
  const named: Named = {
    deliverable,
    path,
    final: layout.deliverable(job.deliveryFolder, profile.name, outcome.fileName),
    ours: replaceableDigests(report, path),
  };
  const what = named.ours.length > 0 ? null : await othersAt(named.final, isMasterWork(deliverable));
  if (what !== null) return { ...named, there: 'others', what };
  if (report === null) return { ...named, there: 'nothing', why: 'no report' };
  const staged = await findStaged(job, named, report, signal);
  if (staged !== null) return { ...named, there: 'staged', report, ...staged };
  const completion = await completionOf(report, job.deliveryFolder, wantedOf(job, deliverable), signal);
  return completion.state === 'finished'
    ? { ...named, there: 'published', completion }
    : { ...named, there: 'nothing', why: completion.why };
}

/** Of an earlier attempt or run; null: there is none that can be read. */
async function reportOf(job: Job, { profile }: Deliverable): Promise<DeliverableReport | null> {
  const path = layout.deliverableReport(job.deliveryFolder, job.clip.id, profile.name);
  const read = await readRecord(path, deliverableReportSchema);
  return read.state === 'read' ? read.value : null;
}

/** null: nothing stands there, or a thing of the right kind. A thing of the right kind may be ours whatever the reports say: its bytes decide, at the publishing. */
async function othersAt(path: string, folder: boolean): Promise<string | null> {
  try {
    const stats = await lstat(fsPath(path));
    if (stats.isSymbolicLink()) return 'a symbolic link';
    if (folder) return stats.isDirectory() ? null : stats.isFile() ? 'a file' : 'something that is no folder';
    return stats.isFile() ? null : stats.isDirectory() ? 'a folder' : 'something that is no file';
  } catch (error) {
    // Whatever else is wrong with the place is reported by whoever has to write there.
    if ((error as NodeJS.ErrnoException).code === undefined) throw error;
    return null;
  }
}

async function findStaged(
  job: Job,
  { deliverable, path, final }: Named,
  report: DeliverableReport,
  signal: AbortSignal,
): Promise<Pick<FoundStaged, 'staged' | 'checked' | 'beside'> | null> {
  const { state, file, staged: name, sidecars = [] } = report;
  if (state !== 'publishing' || name === undefined || file === null || file.path !== path) return null;
  if (file.files === undefined && sidecars.length === 0) return null;
  if (mismatchReason(report, wantedOf(job, deliverable)) !== null) return null;
  // Of a process that still runs, or of another machine's, nobody knows what it is about to do with it.
  if (basename(name) !== name || !(await noneIfAbsent(leftovers(dirname(final)))).includes(name)) return null;
  const staged = join(dirname(final), name);
  const checked = await digestOfDeliverable(staged, signal);
  const same =
    checked.xxh128 === file.xxh128 && checked.sha256 === file.sha256 && checked.bytes === file.bytes;
  if (!same || isFolderDigest(checked) !== (file.files !== undefined)) return null;
  const beside = await foundBeside(staged, sidecars);
  return beside === null ? null : { staged, checked, beside };
}

/** What `list` finds; of a folder that nobody has made yet, nothing. */
export async function noneIfAbsent(list: Promise<string[]>): Promise<string[]> {
  try {
    return await list;
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'ENOENT') return [];
    throw error;
  }
}
