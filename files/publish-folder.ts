/**
 * Gives a finished, checked folder its final name, by the rules of publish.ts: what stands there is whole, nothing of
 * anybody else's is overwritten, a second publisher of the same files is harmless.
 *
 * rename(2) puts a folder under a name in one step and never replaces a file, a link or a folder in which something lies.
 * It does replace an empty folder: one that stands there beforehand is reported as taken; one that is made at that very moment
 * goes, with nothing in it.
 *
 * No call of POSIX replaces a full folder in one step. An older one of our own is moved aside, to a staging name beside
 * it, the new one takes its name, the older is removed. Whoever calls has written down `publishing` by then, so that a
 * crash at any point leaves no record that says otherwise:
 *
 *   before the first step       the older stands, the new one is staged
 *   after the older was moved   nothing stands; both lie there as leftovers, and the new one is whole
 *   after the new one's rename  the new one stands; what is left of the older lies there as a leftover
 *
 * A leftover with the content that a report has as `publishing` is published by the next run (worker/resume-publish.ts); the
 * others are swept with the rest. Where the second step fails and the program lives, the older gets its name back.
 */
import { codeOf } from './error-code.ts';
import type { BigIntStats } from 'node:fs';
import { rm } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { digestOfFile } from './digest.ts';
import {
  aFewAtOnce,
  type DeliverableDigest,
  digestOfFolder,
  entriesOf,
  type FolderDigest,
  type FolderIdentity,
  isFolderDigest,
} from './folder-digest.ts';
import { syncFolder } from './folders.ts';
import { fsPath, printable } from './names.ts';
import { seenAt, seenText, seenTogether, withoutNumber } from './seen.ts';
import {
  lstatBig,
  publishFile,
  type PublishResult,
  type PublishRequest,
  renamePatiently,
  StagedFileLostError,
  syncFile,
} from './publish.ts';

export interface FolderRequest extends Omit<PublishRequest, 'checked'> {
  readonly checked: FolderDigest;
}

/** Every step that changes what stands there. Given so that a test can end the program between any two of them, or have one fail. */
export interface FolderMoves {
  /** Throws what rename(2) says. */
  rename(from: string, to: string): Promise<void>;
  /** Removes a folder and all that lies in it. */
  remove(folder: string): Promise<void>;
}

const onDisk: FolderMoves = {
  rename: renamePatiently,
  remove: (folder) => rm(fsPath(folder), { recursive: true, force: true }),
};

/** Whatever was checked, under its final name. Throws as `publishFile` does. */
export async function publishDeliverable(
  request: Omit<FolderRequest, 'checked'> & { readonly checked: DeliverableDigest },
): Promise<PublishResult> {
  const { checked } = request;
  return isFolderDigest(checked)
    ? await publishFolder({ ...request, checked })
    : await publishFile({ ...request, checked });
}

/**
 * That what has the final name now is what was checked, and what the system says of it (seen.ts): for whoever looks later.
 * Throws StagedFileLostError when somebody wrote into it between check and name.
 */
export async function seenPublished(
  final: string,
  checked: DeliverableDigest,
  signal?: AbortSignal,
): Promise<string> {
  if (isFolderDigest(checked)) {
    const names = checked.files.map(({ name }) => name);
    const seen = await seenTogether(final, names);
    const identity = await lstatBig(final);
    const why = await whyAnother(final, { ...checked, inode: identity.ino, device: identity.dev }, signal);
    if (why !== null) throw new StagedFileLostError(final, why);
    return seen;
  }
  const stats = await lstatBig(final);
  const untouched =
    stats.isFile() && stats.size === BigInt(checked.bytes) && stats.mtimeNs === checked.modified;
  if (!untouched && (await digestOfFile(final, signal)).sha256 !== checked.sha256)
    throw new StagedFileLostError(final, 'other bytes than were checked');
  return withoutNumber(seenText(stats));
}

/** The same of whatever stands there now; null: nothing does. `names`: of a folder. */
export async function seenNow(path: string, names: readonly string[] | null): Promise<string | null> {
  if (names !== null) return await seenTogether(path, names);
  const seen = await seenAt(path);
  return seen === null ? null : withoutNumber(seen);
}

/** Where an older folder lies while the new one takes its name: the staged name keeps its token, so that the same sweep finds it. */
function asideOf(staged: string): string {
  return `${staged}.older`;
}

/** Throws StagedFileLostError, what node:fs throws (disk full, read-only, folder gone), and the signal's reason. */
export async function publishFolder(
  request: FolderRequest,
  moves: FolderMoves = onDisk,
): Promise<PublishResult> {
  await provesStagedFolder(request);
  const { staged, checked } = request;
  await aFewAtOnce(checked.files, ({ name }) => syncFile(join(staged, name)));
  await syncFolder(staged);
  const outcome = await putFolderUnderName(request, moves);
  await syncFolder(dirname(request.final));
  return outcome;
}

/** The staged name is still that folder, and in it lie the very files that were checked, and nothing else. */
export async function provesStagedFolder({
  staged,
  checked,
  signal,
}: Pick<FolderRequest, 'staged' | 'checked' | 'signal'>): Promise<void> {
  const [odd] = checked.strange;
  const why =
    odd !== undefined
      ? `${odd.what} lies in it: ${printable(odd.name)}`
      : checked.files.length === 0
        ? 'nothing lies in it'
        : await whyAnother(staged, checked, signal);
  if (why !== null) throw new StagedFileLostError(staged, why);
}

/** null: what stands there is still the folder that was read, with the files that were read in it, by number, size and time of each; a file whose time is another one is read again, as in `provesStaged`. */
async function whyAnother(
  folder: string,
  { inode, device, files, strange }: FolderDigest,
  signal: AbortSignal | undefined,
): Promise<string | null> {
  try {
    if (!isFolder(await lstatBig(folder), { inode, device })) return 'not the folder that was checked';
    const now = await entriesOf(folder);
    const count = now.names.length + now.strange.length;
    if (count !== files.length + strange.length)
      return `${count} files, ${files.length + strange.length} were checked`;
    let why: string | null = null;
    await aFewAtOnce(files, async ({ name, bytes, inode: number, changed, sha256 }) => {
      const stats = await lstatBig(join(folder, name));
      if (!stats.isFile() || stats.ino !== number)
        why ??= `${printable(name)} is not the file that was checked`;
      else if (stats.size !== BigInt(bytes))
        why ??= `${printable(name)} has ${stats.size} bytes, ${bytes} were checked`;
      else if (
        stats.ctimeNs !== changed &&
        (await digestOfFile(join(folder, name), signal)).sha256 !== sha256
      )
        why ??= `${printable(name)} has other bytes than were checked`;
    });
    return why;
  } catch (error) {
    if (['ENOENT', 'ENOTDIR'].includes(codeOf(error))) return codeOf(error);
    throw error;
  }
}

/** Codes by which rename(2) says that the name is taken. Source: POSIX.1-2017, rename. */
const TAKEN = new Set(['ENOTEMPTY', 'EEXIST', 'ENOTDIR']);
/** Each time round somebody else has taken or freed the name in between. */
const ROUNDS = 8;

async function putFolderUnderName(request: FolderRequest, moves: FolderMoves): Promise<PublishResult> {
  for (let round = 1; round <= ROUNDS; round += 1) {
    const outcome = (await isFree(request.final))
      ? (await takesName(request, moves))
        ? ({ kind: 'published' } as const)
        : null
      : await settleTakenName(request, moves);
    if (outcome !== null) return outcome;
  }
  throw Object.assign(new Error(`${request.final}: its name is taken and freed again and again`), {
    code: 'EBUSY',
    path: request.final,
  });
}

async function isFree(path: string): Promise<boolean> {
  return (await onDiskAt(path)) === null;
}

async function onDiskAt(path: string): Promise<BigIntStats | null> {
  try {
    return await lstatBig(path);
  } catch (error) {
    if (codeOf(error) === 'ENOENT') return null;
    throw error;
  }
}

/** False when the name was taken meanwhile. */
async function takesName({ staged, final, checked }: FolderRequest, moves: FolderMoves): Promise<boolean> {
  try {
    await moves.rename(staged, final);
    return true;
  } catch (error) {
    if (TAKEN.has(codeOf(error))) return false;
    // A repeated request on a network file system: the first try had worked and its answer was lost.
    if (codeOf(error) === 'ENOENT' && isFolder(await onDiskAt(final), checked)) return true;
    throw error;
  }
}

function isFolder(stats: BigIntStats | null, { inode, device }: FolderIdentity): boolean {
  return stats !== null && stats.isDirectory() && stats.ino === inode && stats.dev === device;
}

/** null: it is not taken any more, or not by the same. */
async function settleTakenName(request: FolderRequest, moves: FolderMoves): Promise<PublishResult | null> {
  const { final, staged, checked } = request;
  const stats = await onDiskAt(final);
  if (stats === null) return null;
  if (!stats.isDirectory())
    return {
      kind: 'taken',
      found: stats.isSymbolicLink()
        ? 'a symbolic link'
        : stats.isFile()
          ? 'a file'
          : 'something that is no folder',
    };
  if (isFolder(stats, checked)) return { kind: 'published' };
  let onDisk: FolderDigest;
  try {
    onDisk = await digestOfFolder(final, request.signal);
  } catch (error) {
    // Whoever replaces it moves it away while it is read.
    if (codeOf(error) === 'ENOENT') return null;
    throw error;
  }
  if (sameFolder(onDisk, checked)) {
    await moves.remove(staged);
    return { kind: 'already-there' };
  }
  return request.isOurs(onDisk.xxh128)
    ? await replacesOlder(request, onDisk, moves)
    : { kind: 'taken', found: described(onDisk) };
}

function sameFolder(a: FolderDigest, b: FolderDigest): boolean {
  return (
    a.sha256 === b.sha256 && a.xxh128 === b.xxh128 && a.bytes === b.bytes && a.files.length === b.files.length
  );
}

function described({ files, strange, bytes, xxh128 }: FolderDigest): string {
  const [odd] = strange;
  if (odd !== undefined) return `a folder in which ${odd.what} lies: ${printable(odd.name)}`;
  return files.length === 0
    ? 'an empty folder'
    : `a folder of ${files.length} files, ${bytes} bytes, XXH128 ${xxh128} of their checksum list, that no report of ours names`;
}

/**
 * null: somebody else was faster, and has taken the older folder away or the name. Of two publishers one may in the worst
 * case take the other's new folder for a moment from its name, between a look and a rename: only the queue's lock stands
 * against that, and it gets its name back.
 */
async function replacesOlder(
  request: FolderRequest,
  older: FolderDigest,
  moves: FolderMoves,
): Promise<PublishResult | null> {
  const { staged, final } = request;
  const aside = asideOf(staged);
  if ((await whyAnother(final, older, request.signal)) !== null) return null;
  try {
    await moves.rename(final, aside);
  } catch (error) {
    if (codeOf(error) === 'ENOENT') return null;
    throw error;
  }
  // Without the signal: whatever is found, the older one must not stay here.
  if ((await whyAnother(aside, older, undefined)) !== null) {
    await moves.rename(aside, final);
    return null;
  }
  let took = false;
  try {
    took = await takesName(request, moves);
  } catch (error) {
    // It gets its name back. Should that fail as well, it stays where it lies: there is nothing else.
    await moves.rename(aside, final).catch(() => undefined);
    throw error;
  }
  // Durable before anything of the older one goes.
  await syncFolder(dirname(final));
  // Something stands under the name, ours or another's. What cannot be removed now is swept with other leftovers.
  await moves.remove(aside).catch(() => undefined);
  return took ? { kind: 'replaced' } : null;
}
