/** Whether a deliverable is finished: by its report and by the bytes that stand on disk, and by nothing else. */
import { codeOf } from '../files/error-code.ts';
import { stat } from 'node:fs/promises';
import {
  type DeliverableDigest,
  digestOfDeliverable,
  type FolderDigest,
  isFolderDigest,
} from '../files/folder-digest.ts';
import { type AnyOutcome, restsOnSettings, sameDecision } from '../profiles/outcome/any.ts';
import { fsPath } from '../files/names.ts';
import { layout, placeBelow } from './layout.ts';
import { listingOf, measuredFolder, storedListing, storeListing } from './listing.ts';
import { type DeliverableReport, deliverableReportSchema } from './report.ts';
import { writeRecord } from './store.ts';

/** What the deliverable must have been made from and with. */
export interface Wanted {
  readonly contentDigest: string;
  readonly profileHash: string;
  /** Toolchain fingerprint. */
  readonly toolchain: string;
  /** What must come out: of a master it rests on the settings of the night as well. */
  readonly outcome: AnyOutcome;
}

export type Settled =
  /**
   * `report` says `published` and has every digest; `rewrite`: the report on disk does not yet (the work ended between rename
   * and report, or an older version wrote it). `relist`: the listing of this folder is not there, and is known again now.
   */
  | {
      readonly state: 'finished';
      readonly report: DeliverableReport;
      readonly rewrite: boolean;
      readonly relist: FolderDigest | null;
    }
  | { readonly state: 'unfinished'; readonly why: string };

/** Why this report is about something else than what is wanted; null when it is about that. Pure. */
export function whyOtherWork(report: DeliverableReport, wanted: Wanted): string | null {
  if (report.clip.contentDigest !== wanted.contentDigest) return 'made from other content';
  if (report.profileHash !== wanted.profileHash) return 'made with another profile';
  if (report.toolchain.fingerprint !== wanted.toolchain) return 'made by another toolchain';
  if (restsOnSettings(wanted.outcome) && !sameDecision(report.outcome, wanted.outcome))
    return 'made with other settings';
  return null;
}

/** Path of the file below the roll's delivery folder; null when the report points outside of it. */
export function placeOf(report: DeliverableReport, rollFolder: string): string | null {
  return report.file === null ? null : placeBelow(rollFolder, report.file.path);
}

async function trailStands(report: DeliverableReport, rollFolder: string): Promise<boolean> {
  const path = report.trail === undefined ? null : placeBelow(rollFolder, report.trail.path);
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
export async function settleDeliverable(
  report: DeliverableReport,
  rollFolder: string,
  wanted: Wanted,
  signal?: AbortSignal,
): Promise<Settled> {
  const other = whyOtherWork(report, wanted);
  if (other !== null) return { state: 'unfinished', why: other };
  if (report.state === 'failed') return { state: 'unfinished', why: 'it failed' };
  // A check that did not pass is never `publishing`; a report edited to say so must not be believed either.
  if (report.checks.length === 0 || report.checks.some((check) => check.outcome !== 'passed'))
    return { state: 'unfinished', why: 'not every check passed' };
  if (!(await trailStands(report, rollFolder)))
    return { state: 'unfinished', why: 'the trail that it was proved by is not there' };
  const path = placeOf(report, rollFolder);
  if (path === null || report.file === null)
    return { state: 'unfinished', why: 'the report names no file of this roll' };
  let standing: DeliverableDigest;
  try {
    standing = await digestOfDeliverable(path, signal);
  } catch (error) {
    signal?.throwIfAborted();
    return {
      state: 'unfinished',
      why: `the file cannot be read (${codeOf(error) || (error as Error).message})`,
    };
  }
  const same =
    standing.bytes === report.file.bytes &&
    standing.xxh128 === report.file.xxh128 &&
    (report.file.sha256 === undefined || report.file.sha256 === standing.sha256);
  const { files } = report.file;
  if (isFolderDigest(standing))
    return files === undefined
      ? { state: 'unfinished', why: 'a folder stands under its name' }
      : await settleFolder(report, standing, same && standing.files.length === files, rollFolder);
  if (files !== undefined) return { state: 'unfinished', why: 'a file stands under its name, and no folder' };
  if (!same) return { state: 'unfinished', why: 'other bytes stand under its name' };
  const rewrite = report.state !== 'published' || report.file.sha256 === undefined;
  return {
    state: 'finished',
    report: rewrite
      ? { ...report, state: 'published', file: { ...report.file, sha256: standing.sha256 } }
      : report,
    rewrite,
    relist: null,
  };
}

/**
 * A folder in which all that was published stands untouched, and something else besides, is finished: making it again would
 * not take that away. The gate holds it until somebody does.
 */
async function settleFolder(
  report: DeliverableReport,
  standing: FolderDigest,
  same: boolean,
  rollFolder: string,
): Promise<Settled> {
  const stored = await storedListing(report, rollFolder);
  const ours = stored.sha256 !== null && stored.sha256 === report.file?.sha256 ? stored.files : null;
  if (
    !same &&
    (ours === null || measuredFolder(standing, ours).differences.some(({ kind }) => kind !== 'strange'))
  )
    return { state: 'unfinished', why: 'other files stand under its name' };
  const listing = listingOf(report.clip.id, report.profile, {
    sha256: report.file?.sha256 ?? standing.sha256,
  });
  const rewrite =
    report.state !== 'published' ||
    report.file?.sha256 === undefined ||
    report.listing?.path !== listing.path ||
    report.listing.sha256 !== listing.sha256;
  const { staged: _, ...rest } = report;
  const complete =
    rewrite && report.file !== null
      ? { ...rest, state: 'published' as const, file: { ...report.file, sha256: listing.sha256 }, listing }
      : report;
  return {
    state: 'finished',
    report: complete,
    rewrite,
    relist: same && (ours === null || rewrite) ? standing : null,
  };
}

/** Brings the records of a finished deliverable up to what is known of it. */
export async function completeRecords(
  settled: Extract<Settled, { state: 'finished' }>,
  rollFolder: string,
): Promise<void> {
  const { report, rewrite, relist } = settled;
  // Before the report that names it.
  if (relist !== null) await storeListing(rollFolder, report.clip.id, report.profile, relist);
  if (rewrite)
    await writeRecord(
      layout.deliverableReport(rollFolder, report.clip.id, report.profile),
      deliverableReportSchema,
      report,
    );
}

/** Digests that may be replaced under `path` (relative to the roll's delivery folder), by the word of the report that stands there now. Pure. */
export function ownDigests(report: DeliverableReport | null, path: string): string[] {
  if (report === null) return [];
  const older = report.outcome.fileName === path.split('/').at(-1) ? (report.supersedes ?? []) : [];
  return [...new Set([...(report.file?.path === path ? [report.file.xxh128] : []), ...older])];
}
