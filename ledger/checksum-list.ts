/** The checksum list of a deliverable that is a folder, kept as a record beside the reports: it says which frame differs, where the folder's digest says only that something does. */
import { codeOf } from '../files/error-code.ts';
import { lstat, readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { type FolderDigest, entriesOf } from '../files/folder-digest.ts';
import {
  compareChecksumLists,
  compareNames,
  type ListedFile,
  type ChecksumListDifference,
  ChecksumListError,
  checksumListText,
  readChecksumList,
  sha256OfText,
} from '../files/checksum-list.ts';
import { fsPath } from '../files/names.ts';
import { layout, placeBelow } from './layout.ts';
import type { DeliverableReport } from './report.ts';
import { writeWhole } from './store.ts';

export type NamedChecksumList = NonNullable<DeliverableReport['checksumList']>;

/** What a report of this folder says of its checksum list. */
export function checksumListOf(
  clipId: string,
  profile: string,
  digest: Pick<FolderDigest, 'sha256'>,
): NamedChecksumList {
  return { path: layout.checksumList(clipId, profile, digest.sha256), sha256: digest.sha256 };
}

/** Writes the checksum list of what was read, and says where it stands. `rollFolder` is <delivery>/<day>/<roll>, which must be there. */
export async function storeChecksumList(
  rollFolder: string,
  clipId: string,
  profile: string,
  digest: FolderDigest,
): Promise<NamedChecksumList> {
  const checksumList = checksumListOf(clipId, profile, digest);
  await writeWhole(join(rollFolder, checksumList.path), checksumListText(digest.files));
  return checksumList;
}

export interface StoredChecksumList {
  /** null: it cannot be read, or is not a checksum list. */
  readonly files: readonly ListedFile[] | null;
  /** Of the text as it lies there; null when there is none. */
  readonly sha256: string | null;
}

/** The checksum list that the report names, as it lies there; whether it is the right one is for the reader of its digest. */
export async function storedChecksumList(
  report: DeliverableReport,
  rollFolder: string,
): Promise<StoredChecksumList> {
  const path = report.checksumList === undefined ? null : placeBelow(rollFolder, report.checksumList.path);
  if (path === null) return { files: null, sha256: null };
  let text: Buffer;
  try {
    text = await readFile(fsPath(path));
  } catch (error) {
    if (codeOf(error) === '') throw error;
    return { files: null, sha256: null };
  }
  const sha256 = sha256OfText(text);
  try {
    return { files: readChecksumList(text), sha256 };
  } catch (error) {
    if (!(error instanceof ChecksumListError)) throw error;
    return { files: null, sha256 };
  }
}

/** The files that the report's own checksum list names; null when it is not there, or another one. */
export async function listedFiles(
  report: DeliverableReport,
  rollFolder: string,
): Promise<readonly ListedFile[] | null> {
  const { files, sha256 } = await storedChecksumList(report, rollFolder);
  return report.file !== null && sha256 === report.file.sha256 ? files : null;
}

/** A folder as it stands, held against its checksum list. */
export interface FolderOnDisk {
  /** Files that stand, of those that are listed; of all of them where there is no checksum list to go by. */
  readonly files: number;
  /** Of these files, together. */
  readonly bytes: number;
  readonly differences: readonly ChecksumListDifference[];
}

/** By names and sizes; no byte is read. null when it is no folder, or cannot be read. */
export async function lookAtFolder(
  path: string,
  listed: readonly ListedFile[] | null,
): Promise<FolderOnDisk | null> {
  try {
    if (!(await lstat(fsPath(path))).isDirectory()) return null;
    const { names, strange } = await entriesOf(path);
    const counted = listed === null ? names : namesIn(listed, names);
    let bytes = 0;
    for (const name of counted) bytes += (await lstat(fsPath(join(path, name)))).size;
    return {
      files: counted.length,
      bytes,
      differences: compareNames(listed ?? names.map((name) => ({ name, sha256: '' })), names, strange),
    };
  } catch (error) {
    if (codeOf(error) === '') throw error;
    // Whatever the reason, nobody can open it: it does not stand.
    return null;
  }
}

/** The same by the bytes that were read. */
export function measuredFolder(digest: FolderDigest, listed: readonly ListedFile[] | null): FolderOnDisk {
  const counted = new Set(
    listed === null
      ? digest.files.map(({ name }) => name)
      : namesIn(
          listed,
          digest.files.map(({ name }) => name),
        ),
  );
  const files = digest.files.filter(({ name }) => counted.has(name));
  return {
    files: files.length,
    bytes: files.reduce((sum, { bytes }) => sum + bytes, 0),
    differences: compareChecksumLists(listed ?? digest.files, digest.files, digest.strange),
  };
}

function namesIn(listed: readonly ListedFile[], names: readonly string[]): string[] {
  const known = new Set(listed.map(({ name }) => name));
  return names.filter((name) => known.has(name));
}
