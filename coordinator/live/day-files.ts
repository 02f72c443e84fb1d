/** What of a day is given to a reader: the morning page, its contact sheets, and the records it links to. Nothing else of the disk. */
import { constants, type FileHandle, open } from 'node:fs/promises';
import { join } from 'node:path';
import { fsPath } from '../../files/names.ts';
import { HANDOVER, isPageFile, pageLayout } from '../../handover/layout.ts';
import { style } from '../../handover/page/style.ts';
import { linkOnTheWay } from '../../handover/write-day.ts';
import { linkAt } from '../../ledger/delivery-links.ts';
import { layout } from '../../ledger/layout.ts';
import { policyOf } from '../../serve/headers.ts';

export interface DayFile {
  readonly path: string;
  readonly type: string;
  readonly policy: string;
}

const nothing = policyOf({});
/** The page's own style alone, and its pictures, which lie in it. It runs nothing. */
const ofPage = policyOf({ styles: [style], images: ['data:'] });

/** One part of a path, which leads nowhere else. */
const isPlain = (part: string): boolean =>
  part !== '' && part !== '.' && part !== '..' && !/[/\\\0]/.test(part);

/** `asked`: the parts below the day's folder. null: it is none of them. Pure. */
export function dayFileOf(dayFolder: string, asked: readonly string[]): DayFile | null {
  if (!asked.every(isPlain)) return null;
  const [folder = '', ...rest] = asked;
  const path = join(dayFolder, ...asked);
  if (folder === HANDOVER) {
    if (path === pageLayout.page(dayFolder))
      return { path, type: 'text/html; charset=utf-8', policy: ofPage };
    const below = rest.join('/');
    return isPageFile(below) && below.endsWith('.jpg') && rest.length === 2
      ? { path, type: 'image/jpeg', policy: nothing }
      : null;
  }
  return asked.length === 2 && path === layout.verdict(join(dayFolder, folder))
    ? { path, type: 'application/json; charset=utf-8', policy: nothing }
    : null;
}

/** null: it is not there, or not a file in the delivery itself. Whoever gets it closes it. */
export async function openDayFile(dayFolder: string, { path }: DayFile): Promise<FileHandle | null> {
  if ((await linkOnTheWay(dayFolder)) !== null || (await linkAt(join(path, '..'))) !== null) return null;
  const file = await open(
    fsPath(path),
    constants.O_RDONLY | constants.O_NOFOLLOW | constants.O_NONBLOCK,
  ).catch(() => null);
  if (file === null) return null;
  if ((await file.stat()).isFile()) return file;
  await file.close();
  return null;
}
