/**
 * Gives a finished, checked file its final name. What stands under a final name is whole; nothing of anybody else's is ever
 * overwritten; a second publisher of the same bytes is harmless.
 *
 * `link` then `unlink` is the one primitive of POSIX that puts a file under a name only if the name is free. Where links
 * are not supported (FAT, SMB) there is none: existence is looked at, then renamed. Between the two another program
 * could take the name; only the queue's lock stands against that there.
 */
import { codeOf } from './error-code.ts';
import { link, lstat, open, rename, rm, unlink } from 'node:fs/promises';
import { dirname } from 'node:path';
import { type FileDigest, digestOfFile } from './digest.ts';
import { syncFolder } from './folders.ts';
import { fsPath } from './names.ts';

/**
 * `published`: the name was free. `already-there`: the same bytes stood there. `replaced`: an older file of our own stood
 * there and was replaced in one step. `taken`: something that is not ours stands there; nothing was changed.
 */
export type PublishResult =
  | { readonly kind: 'published' | 'already-there' | 'replaced' }
  | { readonly kind: 'taken'; readonly found: string };

export interface PublishRequest {
  /** In the folder of `final`: a rename must not cross a file system. */
  readonly staged: string;
  readonly final: string;
  /** What was checked. The staged name must still be that file. */
  readonly checked: FileDigest;
  /** True for a digest (XXH128) that a report of ours names as having stood here. */
  readonly isOurs: (xxh128: string) => boolean;
  /** Ends the reading of what stands under a name; no step that changes anything. */
  readonly signal?: AbortSignal | undefined;
}

/** The staged file is not the one that was checked: renamed, replaced, or its folder is gone. */
export class StagedFileLostError extends Error {
  constructor(path: string, what: string) {
    super(`${path}: ${what}`);
    this.name = 'StagedFileLostError';
  }
}

/** Codes by which file systems say that they have no hard links (Linux: EPERM; macOS, SMB: ENOTSUP, EOPNOTSUPP; FUSE: ENOSYS; MDL limits: EMLINK). */
const NO_LINKS = new Set(['EPERM', 'ENOTSUP', 'EOPNOTSUPP', 'ENOSYS', 'EMLINK', 'EINVAL']);
/** A network server answers so while somebody reads the old file; it passes. */
const BUSY = new Set(['EBUSY', 'EACCES', 'EPERM', 'ETXTBSY']);
const BUSY_TRIES = 6;

/** Writes what the program left in the system's memory to the disk. Errors of a network file system surface here, and are final. */
export async function syncFile(path: string): Promise<void> {
  const handle = await open(fsPath(path), 'r+');
  try {
    await handle.sync();
  } finally {
    await handle.close();
  }
}

/**
 * Changed since it was checked, it is read again: on some network file systems the time alone changes, when the server
 * comes to know that the file was closed.
 */
export async function provesStaged({
  staged,
  checked,
  signal,
}: Pick<PublishRequest, 'staged' | 'checked' | 'signal'>): Promise<void> {
  let stats: Awaited<ReturnType<typeof lstatBig>>;
  try {
    stats = await lstatBig(staged);
  } catch (error) {
    throw new StagedFileLostError(staged, codeOf(error));
  }
  // Writing and syncing a file whose folder was deleted succeeds without a word; the name tells.
  if (!stats.isFile() || stats.ino !== checked.inode || stats.dev !== checked.device)
    throw new StagedFileLostError(staged, 'not the file that was checked');
  if (stats.size !== BigInt(checked.bytes))
    throw new StagedFileLostError(staged, `${stats.size} bytes, ${checked.bytes} were checked`);
  if (stats.ctimeNs !== checked.changed && (await digestOfFile(staged, signal)).sha256 !== checked.sha256)
    throw new StagedFileLostError(staged, 'other bytes than were checked');
}

export function lstatBig(path: string): Promise<import('node:fs').BigIntStats> {
  return lstat(fsPath(path), { bigint: true });
}

/** Throws StagedFileLostError, what node:fs throws (disk full, read-only, folder gone), and the signal's reason. */
export async function publishFile(request: PublishRequest): Promise<PublishResult> {
  await provesStaged(request);
  await syncFile(request.staged);
  const outcome = await putUnderName(request, link);
  await syncFolder(dirname(request.final));
  return outcome;
}

/** `makeLink` is given so that a file system without links can be stood in for. */
export async function putUnderName(request: PublishRequest, makeLink: typeof link): Promise<PublishResult> {
  try {
    await makeLink(fsPath(request.staged), fsPath(request.final));
    await unlink(fsPath(request.staged));
    return { kind: 'published' };
  } catch (error) {
    if (codeOf(error) === 'EEXIST') return settleTakenName(request);
    if (!NO_LINKS.has(codeOf(error))) throw error;
  }
  if (await exists(request.final)) return settleTakenName(request);
  await renamePatiently(request.staged, request.final);
  return { kind: 'published' };
}

async function exists(path: string): Promise<boolean> {
  try {
    await lstat(fsPath(path));
    return true;
  } catch (error) {
    if (codeOf(error) === 'ENOENT') return false;
    throw error;
  }
}

async function settleTakenName(request: PublishRequest): Promise<PublishResult> {
  const { final, staged, checked } = request;
  const stats = await lstatBig(final);
  if (!stats.isFile())
    return {
      kind: 'taken',
      found: stats.isSymbolicLink()
        ? 'a symbolic link'
        : stats.isDirectory()
          ? 'a folder'
          : 'something that is no file',
    };
  // A repeated request on a network file system: the first try had worked and its answer was lost.
  if (stats.ino === checked.inode && stats.dev === checked.device) {
    await rm(fsPath(staged), { force: true });
    return { kind: 'published' };
  }
  const onDisk = await digestOfFile(final, request.signal);
  if (onDisk.xxh128 === checked.xxh128 && onDisk.bytes === checked.bytes) {
    await rm(fsPath(staged), { force: true });
    return { kind: 'already-there' };
  }
  if (!request.isOurs(onDisk.xxh128))
    return {
      kind: 'taken',
      found: `a file of ${onDisk.bytes} bytes, XXH128 ${onDisk.xxh128}, that no report of ours names`,
    };
  await renamePatiently(request.staged, request.final);
  return { kind: 'replaced' };
}

export async function renamePatiently(from: string, to: string): Promise<void> {
  for (let tried = 1; ; tried += 1) {
    try {
      await rename(fsPath(from), fsPath(to));
      return;
    } catch (error) {
      if (!BUSY.has(codeOf(error)) || tried === BUSY_TRIES) throw error;
      await new Promise((resolve) => setTimeout(resolve, 100 * 2 ** tried));
    }
  }
}
