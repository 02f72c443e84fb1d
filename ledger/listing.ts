/** The listing of a deliverable that is a folder, kept as a record beside the reports: it says which frame differs, where the folder's digest says only that something does. */
import { codeOf } from '../files/error-code.ts';
import { lstat, readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { type FolderDigest, entriesOf } from '../files/folder-digest.ts';
import {
  compareListings,
  compareNames,
  type ListedFile,
  type ListingDifference,
  ListingError,
  listingText,
  readListing,
  sha256OfText,
} from '../files/listing.ts';
import { fsPath } from '../files/names.ts';
import { layout, placeBelow } from './layout.ts';
import type { DeliverableReport } from './report.ts';
import { writeWhole } from './store.ts';

export type NamedListing = NonNullable<DeliverableReport['listing']>;

/** What a report of this folder says of its listing. */
export function listingOf(
  clipId: string,
  profile: string,
  digest: Pick<FolderDigest, 'sha256'>,
): NamedListing {
  return { path: layout.listing(clipId, profile, digest.sha256), sha256: digest.sha256 };
}

/** Writes the listing of what was read, and says where it stands. `rollFolder` is <delivery>/<day>/<roll>, which must be there. */
export async function storeListing(
  rollFolder: string,
  clipId: string,
  profile: string,
  digest: FolderDigest,
): Promise<NamedListing> {
  const listing = listingOf(clipId, profile, digest);
  await writeWhole(join(rollFolder, listing.path), listingText(digest.files));
  return listing;
}

export interface StoredListing {
  /** null: it cannot be read, or is not a listing. */
  readonly files: readonly ListedFile[] | null;
  /** Of the text as it lies there; null when there is none. */
  readonly sha256: string | null;
}

/** The listing that the report names, as it lies there; whether it is the right one is for the reader of its digest. */
export async function storedListing(report: DeliverableReport, rollFolder: string): Promise<StoredListing> {
  const path = report.listing === undefined ? null : placeBelow(rollFolder, report.listing.path);
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
    return { files: readListing(text), sha256 };
  } catch (error) {
    if (!(error instanceof ListingError)) throw error;
    return { files: null, sha256 };
  }
}

/** The files that the report's own listing names; null when it is not there, or another one. */
export async function listedFiles(
  report: DeliverableReport,
  rollFolder: string,
): Promise<readonly ListedFile[] | null> {
  const { files, sha256 } = await storedListing(report, rollFolder);
  return report.file !== null && sha256 === report.file.sha256 ? files : null;
}

/** A folder as it stands, held against its listing. */
export interface StandingFolder {
  /** Files that stand, of those that are listed; of all of them where there is no listing to go by. */
  readonly files: number;
  /** Of these files, together. */
  readonly bytes: number;
  readonly differences: readonly ListingDifference[];
}

/** By names and sizes; no byte is read. null when it is no folder, or cannot be read. */
export async function lookAtFolder(
  path: string,
  listed: readonly ListedFile[] | null,
): Promise<StandingFolder | null> {
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
export function measuredFolder(digest: FolderDigest, listed: readonly ListedFile[] | null): StandingFolder {
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
    differences: compareListings(listed ?? digest.files, digest.files, digest.strange),
  };
}

function namesIn(listed: readonly ListedFile[], names: readonly string[]): string[] {
  const known = new Set(listed.map(({ name }) => name));
  return names.filter((name) => known.has(name));
}
