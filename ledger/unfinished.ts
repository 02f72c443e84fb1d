/** Where unfinished files lie in a delivery: beside final names and records, and nowhere else. Nothing is opened or removed here. */
import { append } from '../findings/append.ts';
import { lstat, readdir } from 'node:fs/promises';
import { join } from 'node:path';
import { fsPath } from '../files/names.ts';
import { STAGING_PREFIX } from './layout.ts';

/** Folders of a delivery in which staging names are given: the delivery's own, a day's, a roll's, a profile's or the records', and below those of the records. */
const DEPTH = 4;
const RECORDS = 'reports';

async function entries(folder: string) {
  try {
    return await readdir(fsPath(folder), { withFileTypes: true });
  } catch (error) {
    if (['ENOENT', 'ENOTDIR'].includes((error as NodeJS.ErrnoException).code ?? '')) return [];
    throw error;
  }
}

/** Absolute paths of everything under a staging name below `folder`, which lies `depth` folders below the delivery. Deliverables that are folders are not looked into: nothing unfinished lies in one. */
export async function unfinishedBelow(folder: string, depth = 0): Promise<string[]> {
  const found: string[] = [];
  for (const entry of await entries(folder)) {
    const path = join(folder, entry.name);
    if (entry.name.startsWith(STAGING_PREFIX)) found.push(path);
    else if (!entry.isDirectory() || entry.name.startsWith('.') || depth >= DEPTH) continue;
    // Below a roll's folder of records lies one more row; below a profile's lie deliverables.
    else if (depth < 3 || folder.endsWith(`/${RECORDS}`))
      append(found, await unfinishedBelow(path, depth + 1));
  }
  return found.sort();
}

/** What changes when somebody works on it: size and times of a file, or of all files of a folder. null: it is gone. */
export async function workOn(path: string): Promise<string | null> {
  try {
    const stats = await lstat(fsPath(path));
    const { ino, size, mtimeMs } = stats;
    const inside: string[] = [];
    for (const entry of stats.isDirectory() ? await entries(path) : []) {
      const file = await lstat(fsPath(join(path, entry.name))).catch(() => null);
      inside.push(file === null ? entry.name : `${entry.name} ${file.size} ${file.mtimeMs}`);
    }
    return [`${ino} ${size} ${mtimeMs}`, ...inside.sort()].join('\n');
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'ENOENT') return null;
    throw error;
  }
}
