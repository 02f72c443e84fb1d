/** What lies on disk of a clip's stills, and whether that is what is asked for. */
import { sameStills, stillsDigest } from '../profiles/stills/decide.ts';
import type { StillsOutcome } from '../profiles/stills/schema.ts';
import type { Finding } from '../findings/finding.ts';
import type { FileDigest } from '../files/digest.ts';
import type { Clip } from './clip.ts';
import { createHash } from 'node:crypto';
import { layout, placeBelow } from './layout.ts';
import { digestOfPlain } from './sidecars.ts';
import { type StillsReport, stillsReportSchema } from './stills-report.ts';
import { readRecord } from './store.ts';

/** Of the stills of one clip. */
export interface StillsOnDisk {
  /** null: none, or one that cannot be read (then `damage`). */
  readonly report: StillsReport | null;
  readonly damage: Finding | null;
  /** Of the report's file as it was read, hex. */
  readonly reportSha256?: string;
  /** Of each still, in the order of the report; null: no plain file that can be read. */
  readonly files: readonly (Pick<FileDigest, 'bytes' | 'xxh128' | 'sha256'> | null)[];
}

/** Reads every byte of them. */
export async function readStills(rollFolder: string, clipId: string): Promise<StillsOnDisk> {
  const read = await readRecord(layout.stillsReport(rollFolder, clipId), stillsReportSchema);
  if (read.state === 'absent') return { report: null, damage: null, files: [] };
  if (read.state === 'damaged') return { report: null, damage: read.finding, files: [] };
  const files: StillsOnDisk['files'][number][] = [];
  for (const { path } of read.value.stills) {
    const place = placeBelow(rollFolder, path);
    files.push(place === null ? null : await digestOfPlain(place));
  }
  return {
    report: read.value,
    damage: null,
    reportSha256: createHash('sha256').update(read.bytes).digest('hex'),
    files,
  };
}

export async function readStillsOf(
  rollFolder: string,
  clips: readonly Pick<Clip, 'id'>[],
): Promise<Map<string, StillsOnDisk>> {
  const found = new Map<string, StillsOnDisk>();
  for (const { id } of clips) found.set(id, await readStills(rollFolder, id));
  return found;
}

export interface WantedStills {
  readonly contentDigest: string;
  /** Digest of the toolchain. */
  readonly toolchain: string;
  /** Or its digest. */
  readonly outcome: StillsOutcome | { readonly decision: string };
}

/** Why this report is about other stills than are wanted; null when it is about those. Pure. */
export function stillsMismatch(report: StillsReport, wanted: WantedStills): string | null {
  if (report.clip.contentDigest !== wanted.contentDigest) return 'made from other content';
  if (report.toolchain.digest !== wanted.toolchain) return 'made by another toolchain';
  const { outcome } = wanted;
  const isSame =
    'decision' in outcome
      ? stillsDigest(report.outcome) === outcome.decision
      : sameStills(report.outcome, outcome);
  if (!isSame) return 'decided otherwise, as with other settings';
  return null;
}

/** Whether the report's files lie there with the bytes that were checked. Pure. */
export const areStillsThere = ({ report, files }: StillsOnDisk): boolean =>
  report !== null &&
  report.stills.length === report.outcome.stills.length &&
  report.stills.every(({ bytes, sha256 }, at) => files[at]?.bytes === bytes && files[at]?.sha256 === sha256);

/** Pure: nothing of them is to be made. */
export const areStillsFinished = (disk: StillsOnDisk, wanted: WantedStills): boolean =>
  disk.report !== null &&
  disk.report.state === 'published' &&
  stillsMismatch(disk.report, wanted) === null &&
  disk.report.checks.length > 0 &&
  disk.report.checks.every(({ status }) => status === 'passed') &&
  areStillsThere(disk);

/** XXH128 of what may be replaced under the names of stills, by the word of the report that lies there. Pure. */
export const replaceableStills = (report: StillsReport | null): string[] =>
  report === null
    ? []
    : [...new Set([...report.stills.map(({ xxh128 }) => xxh128), ...(report.supersedes ?? [])])];
