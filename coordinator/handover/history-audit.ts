/** The ASC MHL history that a handover left in the folder of a day on a drive: whole, and of files that are there. */
import { lstat, readdir, readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { codeOf } from '../../files/error-code.ts';
import { CHAIN_FILE, HISTORY_FOLDER } from '../../files/manifest/chain.ts';
import { type History, readHistory } from '../../files/manifest/history.ts';
import { fsPath, printable } from '../../files/names.ts';
import { isSystemName } from '../../files/system-files.ts';
import { type Finding, finding } from '../../findings/finding.ts';
import { linkAt, linkFinding } from '../../ledger/delivery-links.ts';

export interface HistoryThere {
  readonly history: History;
  /** Bytes of the chain as they were read. */
  readonly chain: Buffer;
  /** Names in its folder that are none of it. */
  readonly strange: readonly string[];
}

/** null: there is none. Throws what node:fs throws. */
export async function historyThere(dayFolder: string): Promise<HistoryThere | null> {
  const folder = join(dayFolder, HISTORY_FOLDER);
  let names: string[];
  try {
    names = await readdir(folder);
  } catch (error) {
    if (codeOf(error) === 'ENOENT') return null;
    throw error;
  }
  const isPart = (name: string): boolean => name === CHAIN_FILE || /\.mhl$/i.test(name);
  const files = new Map<string, Buffer>();
  for (const name of names.filter(isPart)) files.set(name, await readFile(join(folder, name)));
  return {
    history: readHistory(files, HISTORY_FOLDER),
    chain: files.get(CHAIN_FILE) ?? Buffer.alloc(0),
    strange: names.filter((name) => !isPart(name) && !isSystemName(name)).sort(),
  };
}

/** Files are named from the day's folder. Their bytes are measured with their rolls, and not a second time. */
export async function auditDriveHistory(dayFolder: string): Promise<Finding[]> {
  const target = await linkAt(join(dayFolder, HISTORY_FOLDER));
  if (target !== null) return [linkFinding(target, HISTORY_FOLDER)];
  const there = await historyThere(dayFolder);
  if (there === null) return [];
  const { history, strange } = there;
  const gone: Finding[] = [];
  for (const { path, bytes } of history.statements) {
    const stats = await lstat(fsPath(join(dayFolder, path))).catch(() => null);
    if (stats === null || !stats.isFile())
      gone.push(
        finding('handover-file-absent', 'no such file', 'the file that the history names', { file: path }),
      );
    else if (bytes !== null && stats.size !== bytes)
      gone.push(
        finding('handover-file-differs', `${stats.size} bytes`, `${bytes} bytes, as the history says`, {
          file: path,
        }),
      );
  }
  return [
    ...history.findings,
    ...gone,
    ...strange.map((name) =>
      finding('delivery-file-foreign', printable(name), 'files of a run only', {
        file: `${HISTORY_FOLDER}/${name}`,
      }),
    ),
  ];
}
