/** What the gate reads from disk and writes to it. */
import { codeOf } from '../../files/error-code.ts';
import { lstat } from 'node:fs/promises';
import type { Clip } from '../../ledger/clip.ts';
import { layout, placeBelow } from '../../ledger/layout.ts';
import { statementOf } from '../../ledger/provenance/build.ts';
import {
  type FolderOnDisk,
  lookAtFolder,
  measuredFolder,
  storedChecksumList,
} from '../../ledger/checksum-list.ts';
import { clipReportSchema, type DeliverableReport, deliverableReportSchema } from '../../ledger/report.ts';
import { rollVerdictSchema } from '../../ledger/roll.ts';
import { sidecarDigests } from '../../ledger/sidecars.ts';
import type { StillsOnDisk } from '../../ledger/stills.ts';
import { readRecord, writeRecord } from '../../ledger/store.ts';
import { digestOfFile } from '../../files/digest.ts';
import type { ListedFile } from '../../files/checksum-list.ts';
import { digestOfFolder } from '../../files/folder-digest.ts';
import { fsPath } from '../../files/names.ts';
import { seenNow } from '../../files/publish-folder.ts';
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

/**
 * `measure`: what the system says something else of than when it was published is read again, whole. `leave`: for whoever
 * reads every byte anyway.
 */
export type IfChanged = 'measure' | 'leave';

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
  ifChanged: IfChanged,
): Promise<Pick<DeliverableOnDisk, 'bytesOnDisk' | 'folder' | 'checksumListSha256' | 'now'>> {
  const { file } = report;
  if (file === null) return { bytesOnDisk: null };
  const place = placeBelow(rollFolder, file.path);
  if (file.files === undefined) {
    const bytesOnDisk = await bytesOfFile(rollFolder, file.path);
    const isSame =
      ifChanged === 'leave' ||
      place === null ||
      bytesOnDisk === null ||
      (await seenNow(place, null)) === file.seen;
    if (isSame) return { bytesOnDisk };
    try {
      return { bytesOnDisk, now: await digestOfFile(place) };
    } catch (error) {
      if (codeOf(error) === '') throw error;
      return { bytesOnDisk: null };
    }
  }
  const { sha256, files } = await storedChecksumList(report, rollFolder);
  const checksumList = sha256 === null ? {} : { checksumListSha256: sha256 };
  const listed = sha256 === file.sha256 ? files : null;
  const onDisk = place === null ? null : await folderNow({ place, listed, seen: file.seen }, ifChanged);
  return onDisk === null
    ? { bytesOnDisk: null, ...checksumList }
    : {
        bytesOnDisk: onDisk.bytes,
        folder: { files: onDisk.files, differences: onDisk.differences },
        ...checksumList,
      };
}

interface PublishedFolder {
  readonly place: string;
  readonly listed: readonly ListedFile[] | null;
  readonly seen: string | undefined;
}

async function folderNow(
  { place, listed, seen }: PublishedFolder,
  ifChanged: IfChanged,
): Promise<FolderOnDisk | null> {
  const looked = await lookAtFolder(place, listed);
  if (looked === null || listed === null || ifChanged === 'leave') return looked;
  const names = listed.map(({ name }) => name);
  if ((await seenNow(place, names)) === seen) return looked;
  try {
    return measuredFolder(await digestOfFolder(place), listed);
  } catch (error) {
    if (codeOf(error) === '') throw error;
    return null;
  }
}

export async function readDeliverable(
  rollFolder: string,
  clipId: string,
  profile: string,
  ifChanged: IfChanged,
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
    ...(report.sidecars === undefined ? {} : { sidecarsSha256: await sidecarDigests(report, rollFolder) }),
    ...(await onDiskOf(report, rollFolder, ifChanged)),
  };
}

/** Every report of these clips in these profiles, read now. */
export async function readDeliverables(
  rollFolder: string,
  clips: readonly Clip[],
  profiles: readonly string[],
  ifChanged: IfChanged,
): Promise<Map<string, DeliverableOnDisk>> {
  const found = new Map<string, DeliverableOnDisk>();
  for (const clip of clips) {
    const list = await Promise.all(
      profiles.map((profile) => readDeliverable(rollFolder, clip.id, profile, ifChanged)),
    );
    for (const [index, profile] of profiles.entries())
      found.set(deliverableKey(clip.id, profile), list[index] as DeliverableOnDisk);
  }
  return found;
}

/** The same of each clip in the profiles that are due of it. */
export async function readDueDeliverables(
  rollFolder: string,
  entries: readonly { readonly clip: Clip; readonly due: readonly string[] }[],
  ifChanged: IfChanged,
): Promise<Map<string, DeliverableOnDisk>> {
  const found = new Map<string, DeliverableOnDisk>();
  for (const { clip, due } of entries)
    for (const [key, disk] of await readDeliverables(rollFolder, [clip], due, ifChanged))
      found.set(key, disk);
  return found;
}

/** What lay there when the roll was decided: the statement names all of it. */
export interface DecidedOn {
  readonly onDisk: ReadonlyMap<string, DeliverableOnDisk>;
  /** By clip id. */
  readonly stills: ReadonlyMap<string, StillsOnDisk>;
}

/**
 * Writes clip reports, statement and roll.json. At no moment does a `ready` stand beside a report that says otherwise: a
 * held verdict is written before the reports, a ready one after everything that it rests on. Nor does a statement stand
 * beside a verdict that it was not made for: a held roll loses it first, and one that is ready names its verdict's digest.
 */
export async function writeDecision(
  rollFolder: string,
  { verdict, clipReports }: GateDecision,
  { onDisk, stills }: DecidedOn,
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
  await writeStatement(rollFolder, statementOf(partsDecided(verdict, clipReports, onDisk, stills)));
  await writeVerdict();
}
