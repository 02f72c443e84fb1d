/**
 * A checksum list: which files a folder holds, each with the SHA-256 of its bytes, sorted by the bytes of their names, in the
 * form of sha256sum, so that `sha256sum -c` proves a folder without this program. The SHA-256 of the text names the
 * content of the whole folder; it is what in-toto calls `dirHash` (Attestation Framework, spec/v1/digest_set.md), by
 * the Hash1 of Go's dirhash package, for names without backslash and line break.
 */
import { hashBytes } from './manifest/digest.ts';
import { checksumLine, readChecksumFile } from './manifest/checksum-file.ts';
import { nameToBytes } from './names.ts';

export interface ListedFile {
  /** Without folder. Bytes that are not UTF-8 are kept (names.ts). */
  readonly name: string;
  /** 64 lower-case hex digits. */
  readonly sha256: string;
}

export class ChecksumListError extends Error {
  constructor(what: string) {
    super(what);
    this.name = 'ChecksumListError';
  }
}

export function sortByName<File extends Pick<ListedFile, 'name'>>(files: readonly File[]): File[] {
  return files
    .map((file) => ({ file, bytes: nameToBytes(file.name) }))
    .sort((a, b) => Buffer.compare(a.bytes, b.bytes))
    .map(({ file }) => file);
}

/** The text as it is written; of no files it is empty. */
export function checksumListText(files: readonly ListedFile[]): Buffer {
  return Buffer.concat(sortByName(files).map(({ sha256, name }) => checksumLine(sha256, name)));
}

export function sha256OfText(text: Buffer): string {
  return hashBytes(text, ['sha256']).sha256 as string;
}

/** Throws ChecksumListError for a text that `checksumListText` would not have written, byte for byte. */
export function readChecksumList(text: Buffer): ListedFile[] {
  if (text.length === 0) return [];
  const { statements, findings } = readChecksumFile(text, 'sha256', '');
  const [fault] = findings;
  if (fault !== undefined) throw new ChecksumListError(fault.found);
  const files = statements.map(({ path, hashes }) => ({ name: path, sha256: hashes[0]?.value ?? '' }));
  if (!checksumListText(files).equals(text))
    throw new ChecksumListError('not the text of a checksum list, sorted, one line a file');
  return files;
}

/** What lies in a folder and is no plain file of a deliverable: a folder, a link, a device, or a name that begins with a dot. */
export interface StrangeEntry {
  readonly name: string;
  /** For people: `a folder`. */
  readonly what: string;
}

export type ChecksumListDifference =
  /** `now`: the other name under which its bytes stand; null when they do nowhere, or nobody has looked. */
  | { readonly kind: 'absent'; readonly name: string; readonly now: string | null }
  /** `of`: the other file of the checksum list whose bytes stand there. */
  | {
      readonly kind: 'differs';
      readonly name: string;
      readonly sha256: string;
      readonly listed: string;
      readonly of: string | null;
    }
  /** `was`: the file of the checksum list that has its bytes. */
  | { readonly kind: 'strange'; readonly name: string; readonly what: string; readonly was: string | null };

/** Where a folder is not what its checksum list says, by the bytes of the names. What several files share says nothing of any of them. */
export function compareChecksumLists(
  listed: readonly ListedFile[],
  onDisk: readonly ListedFile[],
  strange: readonly StrangeEntry[],
): ChecksumListDifference[] {
  const [then, now] = [byName(listed), byName(onDisk)];
  const [listedAt, onDiskAt] = [onlyPlaceOf(listed), onlyPlaceOf(onDisk)];
  return sortByName([
    ...listed.flatMap(({ name, sha256 }): ChecksumListDifference[] => {
      const there = now.get(name);
      if (there === undefined) return [{ kind: 'absent', name, now: onDiskAt.get(sha256) ?? null }];
      return there === sha256
        ? []
        : [{ kind: 'differs', name, sha256: there, listed: sha256, of: listedAt.get(there) ?? null }];
    }),
    ...onDisk
      .filter(({ name }) => !then.has(name))
      .map(
        ({ name, sha256 }): ChecksumListDifference => ({
          kind: 'strange',
          name,
          what: 'a file',
          was: listedAt.get(sha256) ?? null,
        }),
      ),
    ...strange.map(({ name, what }): ChecksumListDifference => ({ kind: 'strange', name, what, was: null })),
  ]);
}

/** The same by names alone, without a look at the bytes. */
export function compareNames(
  listed: readonly ListedFile[],
  names: readonly string[],
  strange: readonly StrangeEntry[],
): ChecksumListDifference[] {
  const then = byName(listed);
  const unread = names.map((name) => ({ name, sha256: then.get(name) ?? '' }));
  return compareChecksumLists(listed, unread, strange).map((one) =>
    one.kind === 'absent' ? { ...one, now: null } : one,
  );
}

function byName(files: readonly ListedFile[]): Map<string, string> {
  return new Map(files.map(({ name, sha256 }) => [name, sha256]));
}

/** By digest: the name of the one file that has it. */
function onlyPlaceOf(files: readonly ListedFile[]): Map<string, string> {
  const places = new Map<string, string>();
  const shared = new Set<string>();
  for (const { name, sha256 } of files) {
    if (places.has(sha256)) shared.add(sha256);
    places.set(sha256, name);
  }
  for (const sha256 of shared) places.delete(sha256);
  return places;
}
