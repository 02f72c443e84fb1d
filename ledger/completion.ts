/** Whether a deliverable is finished: by its report and by the bytes that stand on disk, and by nothing else. */
import { stat } from 'node:fs/promises';
import {
  type DeliverableDigest,
  digestOfDeliverable,
  type FolderDigest,
  isFolderDigest,
} from '../files/folder-digest.ts';
import { fsPath } from '../files/names.ts';
import { layout, placeBelow } from './layout.ts';
import { checksumListOf, measuredFolder, storedChecksumList, storeChecksumList } from './checksum-list.ts';
import { sidecarDigests, sidecarPaths } from './sidecars.ts';
import { type DeliverableReport, deliverableReportSchema } from './report.ts';
import { writeRecord } from './store.ts';
import { type Wanted, mismatchReason } from './wanted.ts';

export type Completion =
  /**
   * `report` says `published` and has every digest; `rewrite`: the report on disk does not yet (the work ended between rename
   * and report, or an older version wrote it). `relist`: the checksum list of this folder is not there, and is known again now.
   */
  | {
      readonly state: 'finished';
      readonly report: DeliverableReport;
      readonly rewrite: boolean;
      readonly relist: FolderDigest | null;
    }
  | { readonly state: 'unfinished'; readonly why: string };
export type Finished = Extract<Completion, { readonly state: 'finished' }>;

/** Path of the file below the roll's delivery folder; null when the report points outside of it. */
export function placeOf(report: DeliverableReport, rollFolder: string): string | null {
  return report.file === null ? null : placeBelow(rollFolder, report.file.path);
}

async function isThere(named: { readonly path: string } | undefined, rollFolder: string): Promise<boolean> {
  const path = named === undefined ? null : placeBelow(rollFolder, named.path);
  if (path === null) return false;
  try {
    return (await stat(fsPath(path))).isFile();
  } catch {
    // Whatever the reason, nobody can open it.
    return false;
  }
}

/**
 * Reads the whole file when the report says that one should stand. `rollFolder` is <delivery>/<day>/<roll>.
 * A report left at `publishing` whose file stands with the checked digest is finished: nothing is encoded again.
 */
export function completionOf(
  report: DeliverableReport,
  rollFolder: string,
  wanted: Wanted,
  signal?: AbortSignal,
): Promise<Completion> {
  return settle(report, rollFolder, wanted, async (path) => {
    try {
      return await digestOfDeliverable(path, signal);
    } catch (error) {
      signal?.throwIfAborted();
      return `the file cannot be read (${(error as NodeJS.ErrnoException).code ?? (error as Error).message})`;
    }
  });
}

/** The same for whoever has read all of it already: `standing` is what lies under its name. */
export function settleKnown(
  report: DeliverableReport,
  rollFolder: string,
  wanted: Wanted,
  onDisk: DeliverableDigest,
): Promise<Completion> {
  return settle(report, rollFolder, wanted, async () => onDisk);
}

/** `read`: a text says why it could not. */
async function settle(
  report: DeliverableReport,
  rollFolder: string,
  wanted: Wanted,
  read: (path: string) => Promise<DeliverableDigest | string>,
): Promise<Completion> {
  const other = mismatchReason(report, wanted);
  if (other !== null) return { state: 'unfinished', why: other };
  if (report.state === 'failed') return { state: 'unfinished', why: 'it failed' };
  // A check that did not pass is never `publishing`; a report edited to say so must not be believed either.
  if (report.checks.length === 0 || report.checks.some((check) => check.status !== 'passed'))
    return { state: 'unfinished', why: 'not every check passed' };
  if (!(await isThere(report.fingerprints, rollFolder)))
    return { state: 'unfinished', why: 'the fingerprints that it was proved by is not there' };
  if (
    'pictureError' in report.outcome &&
    report.outcome.pictureError !== null &&
    !(await isThere(report.errorSketch, rollFolder))
  )
    return { state: 'unfinished', why: 'the error sketch that it was proved by is not there' };
  const path = placeOf(report, rollFolder);
  if (path === null || report.file === null)
    return { state: 'unfinished', why: 'the report names no file of this roll' };
  const onDisk = await read(path);
  if (typeof onDisk === 'string') return { state: 'unfinished', why: onDisk };
  const same =
    onDisk.bytes === report.file.bytes &&
    onDisk.xxh128 === report.file.xxh128 &&
    (report.file.sha256 === undefined || report.file.sha256 === onDisk.sha256);
  const { files } = report.file;
  if (isFolderDigest(onDisk))
    return files === undefined
      ? { state: 'unfinished', why: 'a folder stands under its name' }
      : await folderCompletion(report, onDisk, same && onDisk.files.length === files, rollFolder);
  if (files !== undefined) return { state: 'unfinished', why: 'a file stands under its name, and no folder' };
  if (!same) return { state: 'unfinished', why: 'other bytes stand under its name' };
  const beside = await whySidecarsDiffer(report, rollFolder);
  if (beside !== null) return { state: 'unfinished', why: beside };
  const rewrite = report.state !== 'published' || report.file.sha256 === undefined;
  return {
    state: 'finished',
    report: rewrite
      ? { ...withoutStaged(report), state: 'published', file: { ...report.file, sha256: onDisk.sha256 } }
      : report,
    rewrite,
    relist: null,
  };
}

function withoutStaged(report: DeliverableReport): DeliverableReport {
  const { staged: _, ...rest } = report;
  return rest;
}

/** null: beside the movie lies what its report names, and that is what was decided. */
async function whySidecarsDiffer(report: DeliverableReport, rollFolder: string): Promise<string | null> {
  const { sidecars = [] } = report;
  const wanted = sidecarPaths(report);
  if (sidecars.length !== wanted.length || sidecars.some(({ path }, index) => path !== wanted[index]))
    return 'the report names other files beside it';
  const now = await sidecarDigests(report, rollFolder);
  const wrong = sidecars.find(({ sha256 }, index) => now[index] !== sha256);
  return wrong === undefined ? null : `${wrong.path} beside it is not there, or has other bytes`;
}

/**
 * A folder in which all that was published stands untouched, and something else besides, is finished: making it again would
 * not take that away. The gate holds it until somebody does.
 */
async function folderCompletion(
  report: DeliverableReport,
  onDisk: FolderDigest,
  same: boolean,
  rollFolder: string,
): Promise<Completion> {
  const stored = await storedChecksumList(report, rollFolder);
  const ours = stored.sha256 !== null && stored.sha256 === report.file?.sha256 ? stored.files : null;
  if (
    !same &&
    (ours === null || measuredFolder(onDisk, ours).differences.some(({ kind }) => kind !== 'strange'))
  )
    return { state: 'unfinished', why: 'other files stand under its name' };
  const checksumList = checksumListOf(report.clip.id, report.profile, {
    sha256: report.file?.sha256 ?? onDisk.sha256,
  });
  const rewrite =
    report.state !== 'published' ||
    report.file?.sha256 === undefined ||
    report.checksumList?.path !== checksumList.path ||
    report.checksumList.sha256 !== checksumList.sha256;
  const rest = withoutStaged(report);
  const complete =
    rewrite && report.file !== null
      ? {
          ...rest,
          state: 'published' as const,
          file: { ...report.file, sha256: checksumList.sha256 },
          checksumList,
        }
      : report;
  return {
    state: 'finished',
    report: complete,
    rewrite,
    relist: same && (ours === null || rewrite) ? onDisk : null,
  };
}

/** Brings the records of a finished deliverable up to what is known of it. */
export async function completeRecords(completion: Finished, rollFolder: string): Promise<void> {
  const { report, rewrite, relist } = completion;
  // Before the report that names it.
  if (relist !== null) await storeChecksumList(rollFolder, report.clip.id, report.profile, relist);
  if (rewrite)
    await writeRecord(
      layout.deliverableReport(rollFolder, report.clip.id, report.profile),
      deliverableReportSchema,
      report,
    );
}

/** Digests that may be replaced under `path` and beside it (relative to the roll's delivery folder), by the word of the report that stands there now. Pure. */
export function replaceableDigests(report: DeliverableReport | null, path: string): string[] {
  if (report === null) return [];
  const older = report.outcome.fileName === path.split('/').at(-1) ? (report.supersedes ?? []) : [];
  const beside = (report.sidecars ?? []).map(({ xxh128 }) => xxh128);
  return [...new Set([...(report.file?.path === path ? [report.file.xxh128, ...beside] : []), ...older])];
}
