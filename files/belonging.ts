/**
 * What is made in a folder belongs to whom the folder belongs: it takes the folder's group and its permission bits, whatever the
 * umask is, files without the bits to execute. What is below a delivery gets those of the delivery so, one folder after the other.
 *
 * Set-id and sticky bits are neither given nor taken: a folder that got its set-group-id bit from the system keeps it. In a sticky
 * folder whoever may write there may not touch what is another's, so that no file in it lets others write.
 *
 * Before anything is checked: a change of these is a change of the file (st_ctime), after which it would be read again.
 */
import { constants } from 'node:fs';
import { type FileHandle, open, readdir, stat } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { codeOf } from './error-code.ts';
import { fsPath } from './names.ts';

/** Who runs this may not, or the file system knows neither groups nor permissions. It stays as it was made; the night looks for it (coordinator/night/groups.ts). */
const REFUSED = new Set(['EPERM', 'EACCES', 'ENOTSUP', 'EOPNOTSUPP', 'ENOSYS', 'EINVAL', 'EROFS']);
const PERMISSIONS = 0o777;
const STICKY = 0o1000;

interface Owned {
  readonly mode: number;
  readonly gid: number;
}

/** Permission bits of a file, or of a folder, that lies in `folder`; who made it can always write to it. Pure. */
export function modeIn(folder: number, own: number, isFolder: boolean): number {
  if (isFolder) return (own & ~PERMISSIONS) | (folder & PERMISSIONS) | 0o700;
  const given = (folder & 0o666) | 0o600;
  return (folder & STICKY) === 0 ? given : given & ~0o022;
}

/** Of a file that is open. Throws what node:fs throws, but for a refusal. */
export async function belongToFolder(handle: FileHandle, folder: string): Promise<void> {
  await give(handle, await stat(fsPath(folder)));
}

/** Of a file or a folder that this program made, by its name; of a link nothing is changed. Throws what node:fs throws, but for a refusal. */
export async function takeAfterFolder(path: string): Promise<void> {
  await takeAfter(path, await stat(fsPath(dirname(path))));
}

/** A staged folder, and the files in it. */
export async function takeAllAfterFolder(folder: string): Promise<void> {
  await takeAfterFolder(folder);
  const now = await stat(fsPath(folder));
  for (const name of await readdir(fsPath(folder))) await takeAfter(join(folder, name), now);
}

async function takeAfter(path: string, folder: Owned): Promise<void> {
  let handle: FileHandle;
  try {
    handle = await open(fsPath(path), constants.O_RDONLY | constants.O_NOFOLLOW | constants.O_NONBLOCK);
  } catch (error) {
    if (codeOf(error) === 'ELOOP' || REFUSED.has(codeOf(error))) return;
    throw error;
  }
  try {
    await give(handle, folder);
  } finally {
    await handle.close();
  }
}

async function give(handle: FileHandle, folder: Owned): Promise<void> {
  const own = await handle.stat();
  if (!own.isFile() && !own.isDirectory()) return;
  // The group first: a change of it takes set-id bits away. -1: its owner stays.
  if (own.gid !== folder.gid) await unlessRefused(handle.chown(-1, folder.gid));
  const mode = modeIn(folder.mode, own.mode, own.isDirectory()) & 0o7777;
  if ((own.mode & 0o7777) !== mode) await unlessRefused(handle.chmod(mode));
}

async function unlessRefused(change: Promise<void>): Promise<void> {
  try {
    await change;
  } catch (error) {
    if (!REFUSED.has(codeOf(error))) throw error;
  }
}
