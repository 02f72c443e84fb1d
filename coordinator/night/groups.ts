/** Whether what lies in the day's folder has the group of the delivery's: looked at where it lies, whoever made it, on whichever machine. */
import { lstat, readdir, stat } from 'node:fs/promises';
import { join } from 'node:path';
import { codeOf } from '../../files/error-code.ts';
import { fsPath, printable } from '../../files/names.ts';
import { type Finding, finding } from '../../findings/finding.ts';
import { layout } from '../../ledger/layout.ts';
import type { NightFolders } from '../roll/folders.ts';

/** Files of one folder that are looked at; frames of a master are made by one process. */
const FILES_OF_A_FOLDER = 200;

interface Others {
  count: number;
  first: { readonly path: string; readonly gid: number } | null;
}

/** `rolls`: those that the run had to do with. One note at most; none where nothing can be looked at. */
export async function groupNote(
  { delivery, dayName }: Pick<NightFolders, 'delivery' | 'dayName'>,
  rolls: readonly string[],
): Promise<Finding | null> {
  const others: Others = { count: 0, first: null };
  try {
    const { gid } = await stat(fsPath(delivery));
    for (const roll of rolls) await look(layout.rollFolder(delivery, dayName, roll), gid, others);
    if (others.first === null) return null;
    const { path, gid: found } = others.first;
    return finding(
      'group-not-given',
      `${others.count} files and folders of another group, the first of group ${found}`,
      `group ${gid}, of ${printable(delivery)}`,
      { file: printable(path) },
    );
  } catch (error) {
    // The delivery is gone: that is said already.
    if (codeOf(error) === '') throw error;
    return null;
  }
}

async function look(path: string, gid: number, others: Others): Promise<void> {
  const stats = await lstat(fsPath(path)).catch((error: unknown) => {
    // A file that is being replaced.
    if (codeOf(error) === 'ENOENT') return null;
    throw error;
  });
  if (stats === null || stats.isSymbolicLink()) return;
  if (stats.gid !== gid) {
    others.count += 1;
    others.first ??= { path, gid: stats.gid };
  }
  if (!stats.isDirectory()) return;
  let files = 0;
  for (const entry of await readdir(fsPath(path), { withFileTypes: true })) {
    if (!entry.isDirectory()) files += 1;
    if (entry.isDirectory() || files <= FILES_OF_A_FOLDER) await look(join(path, entry.name), gid, others);
  }
}
