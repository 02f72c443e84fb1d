/** What the gate reads from disk and writes to it. */
import { codeOf } from '../../files/error-code.ts';
import { lstat } from 'node:fs/promises';
import type { Clip } from '../../ledger/clip.ts';
import { layout, placeBelow } from '../../ledger/layout.ts';
import { statementOf } from '../../ledger/provenance/build.ts';
import { lookAtFolder, storedChecksumList } from '../../ledger/checksum-list.ts';
import { clipReportSchema, type DeliverableReport, deliverableReportSchema } from '../../ledger/report.ts';
import { rollVerdictSchema } from '../../ledger/roll.ts';
import { readRecord, writeRecord } from '../../ledger/store.ts';
import { digestOfFile } from '../../files/digest.ts';
import { fsPath } from '../../files/names.ts';
import { removeStatement, writeStatement } from '../provenance/disk.ts';
import { partsDecided, sha256Of } from '../provenance/parts.ts';
import type { GateDecision } from './decide.ts';
import { type DeliverableOnDisk, deliverableKey } from './input.ts';

/** Size of the regular file at `path` below the roll's delivery folder; null when it is not one, or lies elsewhere. */
async function bytesOfFile(rollFolder: string, path: string): Promise<number | null> {
  const place = placeBelow(rollFolder, path);
  if (place === null) return null;
  try {
    const stats = await lstat(fsPath(place));
    return stats.isFile() ? stats.size : null;
  } catch {
    // Whatever the reason, nobody can open it: it does not stand.
    return null;
  }
}

async function digestAt(
  named: { readonly path: string } | undefined,
  rollFolder: string,
): Promise<string | null> {
  const place = named === undefined ? null : placeBelow(rollFolder, named.path);
  if (place === null) return null;
  try {
    return (await digestOfFile(place)).sha256;
  } catch (error) {
    if (codeOf(error) === '') throw error;
    return null;
  }
}

async function evidenceOf(
  { fingerprints, errorSketch }: DeliverableReport,
  rollFolder: string,
): Promise<Pick<DeliverableOnDisk, 'fingerprintsSha256' | 'errorSketchSha256'>> {
  const fingerprintsSha256 = await digestAt(fingerprints, rollFolder);
  const errorSketchSha256 = await digestAt(errorSketch, rollFolder);
  return {
    ...(fingerprintsSha256 === null ? {} : { fingerprintsSha256 }),
    ...(errorSketchSha256 === null ? {} : { errorSketchSha256 }),
  };
}

/** What stands under the name in the report, as the kind of thing that the report says it is. */
async function onDiskOf(
  report: DeliverableReport,
  rollFolder: string,
): Promise<Pick<DeliverableOnDisk, 'bytesOnDisk' | 'folder' | 'checksumListSha256'>> {
  const { file } = report;
  if (file === null) return { bytesOnDisk: null };
  if (file.files === undefined) return { bytesOnDisk: await bytesOfFile(rollFolder, file.path) };
  const { sha256, files } = await storedChecksumList(report, rollFolder);
  const checksumList = sha256 === null ? {} : { checksumListSha256: sha256 };
  const place = placeBelow(rollFolder, file.path);
  const onDisk = place === null ? null : await lookAtFolder(place, sha256 === file.sha256 ? files : null);
  return onDisk === null
    ? { bytesOnDisk: null, ...checksumList }
    : {
        bytesOnDisk: onDisk.bytes,
        folder: { files: onDisk.files, differences: onDisk.differences },
        ...checksumList,
      };
}

export async function readDeliverable(
  rollFolder: string,
  clipId: string,
  profile: string,
): Promise<DeliverableOnDisk> {
  const read = await readRecord(
    layout.deliverableReport(rollFolder, clipId, profile),
    deliverableReportSchema,
  );
  if (read.state === 'absent') return { report: null, damage: null, bytesOnDisk: null };
  if (read.state === 'damaged') return { report: null, damage: read.finding, bytesOnDisk: null };
  const { value: report, bytes } = read;
  return {
    report,
    damage: null,
    reportSha256: sha256Of(bytes),
    ...(await evidenceOf(report, rollFolder)),
    ...(await onDiskOf(report, rollFolder)),
  };
}

/** Every report of these clips in these profiles, read now. */
export async function readDeliverables(
  rollFolder: string,
  clips: readonly Clip[],
  profiles: readonly string[],
): Promise<Map<string, DeliverableOnDisk>> {
  const found = new Map<string, DeliverableOnDisk>();
  for (const clip of clips) {
    const list = await Promise.all(profiles.map((profile) => readDeliverable(rollFolder, clip.id, profile)));
    for (const [index, profile] of profiles.entries())
      found.set(deliverableKey(clip.id, profile), list[index] as DeliverableOnDisk);
  }
  return found;
}

/**
 * Writes clip reports, statement and roll.json. At no moment does a `ready` stand beside a report that says otherwise: a
 * held verdict is written before the reports, a ready one after everything that it rests on. Nor does a statement stand
 * beside a verdict that it was not made for: a held roll loses it first, and one that is ready names its verdict's digest.
 */
export async function writeDecision(
  rollFolder: string,
  { verdict, clipReports }: GateDecision,
  onDisk: ReadonlyMap<string, DeliverableOnDisk>,
): Promise<void> {
  const writeVerdict = (): Promise<void> =>
    writeRecord(layout.verdict(rollFolder), rollVerdictSchema, verdict);
  const held = verdict.verdict === 'held';
  if (held) {
    await removeStatement(rollFolder);
    await writeVerdict();
  }
  for (const report of clipReports)
    await writeRecord(layout.clipReport(rollFolder, report.clip.id), clipReportSchema, report);
  if (held) return;
  await writeStatement(rollFolder, statementOf(partsDecided(verdict, clipReports, onDisk)));
  await writeVerdict();
}
