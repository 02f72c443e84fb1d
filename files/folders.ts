/** Folders. Made one by one: on a read-only volume Node's own recursive mkdir says ENOENT, which would read as a volume that is gone. */
import { codeOf } from './error-code.ts';
import { mkdir, open } from 'node:fs/promises';
import { dirname } from 'node:path';
import { takeAfterFolder } from './belonging.ts';
import { fsPath } from './names.ts';

/** Makes the folder and the parents that it lacks, each with group and permissions of the one in which it is made (belonging.ts). Throws what the file system says of the first one that cannot be made. */
export async function makeFolders(path: string): Promise<void> {
  try {
    await mkdir(fsPath(path));
    await takeAfterFolder(path);
  } catch (error) {
    const code = codeOf(error);
    if (code === 'EEXIST') return;
    if (code !== 'ENOENT' || dirname(path) === path) throw error;
    await makeFolders(dirname(path));
    await makeFolders(path);
  }
}

/** fsync of a folder makes a rename durable; some network file systems refuse it, which loses only durability. */
export async function syncFolder(folder: string): Promise<void> {
  const handle = await open(fsPath(folder), 'r');
  try {
    await handle.sync();
  } catch (error) {
    if (!['EINVAL', 'ENOTSUP', 'EISDIR', 'EPERM'].includes(codeOf(error))) throw error;
  } finally {
    await handle.close();
  }
}
