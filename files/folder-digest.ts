/**
 * The digest of a folder of files, which a master is (one file a frame), in the same form as that of a single file: it is
 * the digest of the folder's checksum list (checksum-list.ts). Every byte of every file is read once.
 */
import { constants } from 'node:fs';
import { type FileHandle, lstat, open, readdir } from 'node:fs/promises';
import { join } from 'node:path';
import { createHash } from 'node:crypto';
import { type ContentDigest, type FileDigest, digestOfFile } from './digest.ts';
import { type ListedFile, checksumListText, sortByName, type StrangeEntry } from './checksum-list.ts';
import { hashBytes } from './manifest/digest.ts';
import { fsPath, nameFromBytes, nameToBytes } from './names.ts';

/** One file of a folder as it was read. */
export interface FolderFile extends ListedFile {
  readonly bytes: number;
  readonly inode: bigint;
  /** As in FileDigest. */
  readonly changed: bigint;
}

/**
 * `bytes`: of all files together; `sha256` and `xxh128`: of the checksum list's text. With anything strange in it both are of a
 * text that is no checksum list: no report can name them.
 */
export interface FolderDigest extends ContentDigest {
  /** By the bytes of their names. */
  readonly files: readonly FolderFile[];
  readonly strange: readonly StrangeEntry[];
}

export type DeliverableDigest = FileDigest | FolderDigest;

export function isFolderDigest(digest: DeliverableDigest): digest is FolderDigest {
  return 'files' in digest;
}

/** The folder itself, as lstat gives it. */
export interface FolderIdentity {
  readonly device: bigint;
  readonly inode: bigint;
}

/** Pure. For those who read the files themselves; `files` in any order. */
export function folderDigestOf(
  files: readonly FolderFile[],
  strange: readonly StrangeEntry[],
  identity: FolderIdentity,
): FolderDigest {
  const sorted = sortByName(files);
  const odd = sortByName(strange);
  // A line that begins like this is none of a checksum list's, so that nothing that was ever published has this digest.
  const text = Buffer.concat([
    checksumListText(sorted),
    ...odd.map(({ name, what }) =>
      Buffer.concat([Buffer.from(`${what}: `), nameToBytes(name), Buffer.from('\n')]),
    ),
  ]);
  const { xxh128, sha256 } = hashBytes(text, ['xxh128', 'sha256']) as { xxh128: string; sha256: string };
  return {
    bytes: sorted.reduce((sum, file) => sum + file.bytes, 0),
    xxh128,
    sha256,
    device: identity.device,
    inode: identity.inode,
    files: sorted,
    strange: odd,
  };
}

export interface FolderEntries {
  /** Names of the plain files, by their bytes. */
  readonly names: readonly string[];
  readonly strange: readonly StrangeEntry[];
}

/** What lies directly in the folder; nothing is opened. */
export async function entriesOf(folder: string): Promise<FolderEntries> {
  const names: string[] = [];
  const strange: StrangeEntry[] = [];
  for (const entry of await readdir(fsPath(folder), { withFileTypes: true, encoding: 'buffer' })) {
    const name = nameFromBytes(entry.name);
    const what = entry.isDirectory()
      ? 'a folder'
      : entry.isSymbolicLink()
        ? 'a symbolic link'
        : !entry.isFile()
          ? 'something that is no file'
          : name.startsWith('.')
            ? 'a hidden file'
            : null;
    if (what === null) names.push(name);
    else strange.push({ name, what });
  }
  const sorted = (list: readonly string[]): string[] =>
    sortByName(list.map((name) => ({ name }))).map(({ name }) => name);
  return { names: sorted(names), strange: sortByName(strange) };
}

/** Files that are read at once: while one is hashed, the disk brings the others. */
const READERS = 4;
const BLOCK_BYTES = 1024 * 1024;

/** Never follows a link, never waits for a pipe. `path` below a folder that others may write into. */
async function openPlain(path: string): Promise<FileHandle> {
  return await open(fsPath(path), constants.O_RDONLY | constants.O_NOFOLLOW | constants.O_NONBLOCK);
}

async function readOne(
  folder: string,
  name: string,
  block: Buffer,
  mayGoOn: () => void,
): Promise<FolderFile> {
  const handle = await openPlain(join(folder, name));
  try {
    const stats = await handle.stat({ bigint: true });
    if (!stats.isFile())
      throw Object.assign(new Error(`${join(folder, name)} is no file`), {
        code: 'ENOTSUP',
        path: join(folder, name),
      });
    const hash = createHash('sha256');
    let bytes = 0;
    for (;;) {
      mayGoOn();
      const { bytesRead } = await handle.read(block, 0, block.length, bytes);
      if (bytesRead === 0) break;
      hash.update(block.subarray(0, bytesRead));
      bytes += bytesRead;
    }
    return { name, bytes, sha256: hash.digest('hex'), inode: stats.ino, changed: stats.ctimeNs };
  } finally {
    await handle.close();
  }
}

/** Calls `work` for every item, a few at a time; after a failure no further one begins, and it throws when all that ran have ended. */
export async function aFewAtOnce<Item>(
  items: readonly Item[],
  work: (item: Item, lane: number) => Promise<void>,
  lanes: number = READERS,
): Promise<void> {
  const waiting = items.values();
  let failed = false;
  const lane = async (_: undefined, index: number): Promise<void> => {
    for (const item of waiting) {
      if (failed) return;
      try {
        await work(item, index);
      } catch (error) {
        failed = true;
        throw error;
      }
    }
  };
  const ended = await Promise.allSettled(
    Array.from({ length: Math.min(lanes, items.length) }, () => undefined).map(lane),
  );
  const fault = ended.find((one) => one.status === 'rejected');
  if (fault !== undefined) throw fault.reason;
}

/**
 * Reads every file of the folder. Memory: four blocks of 1 MiB, and some hundred bytes for each file. Throws what node:fs
 * throws (ENOTDIR when it is no folder), and the signal's reason when aborted.
 */
export async function digestOfFolder(folder: string, signal?: AbortSignal): Promise<FolderDigest> {
  const stats = await lstat(fsPath(folder), { bigint: true });
  if (!stats.isDirectory())
    throw Object.assign(new Error(`${folder} is no folder`), { code: 'ENOTDIR', path: folder });
  const { names, strange } = await entriesOf(folder);
  const files: FolderFile[] = [];
  const blocks: Buffer[] = [];
  await aFewAtOnce(names, async (name, lane) => {
    const block = (blocks[lane] ??= Buffer.allocUnsafeSlow(BLOCK_BYTES));
    files.push(await readOne(folder, name, block, () => signal?.throwIfAborted()));
  });
  signal?.throwIfAborted();
  return folderDigestOf(files, strange, { device: stats.dev, inode: stats.ino });
}

/** Of whatever stands there: a folder by its checksum list, anything else as a file. */
export async function digestOfDeliverable(path: string, signal?: AbortSignal): Promise<DeliverableDigest> {
  return (await lstat(fsPath(path))).isDirectory()
    ? await digestOfFolder(path, signal)
    : await digestOfFile(path, signal);
}
