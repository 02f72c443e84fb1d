/** Which days of a delivery have something to say: those with a roll on record, and those of which a run says that it had none to record. */
import { existsSync } from 'node:fs';
import { readdir } from 'node:fs/promises';
import { join } from 'node:path';
import { fsPath, nameFromBytes } from '../files/names.ts';
import { inDayOrder } from './consistency/differences.ts';
import { PULL_RECORD, pageLayout } from './layout.ts';
import { daysOf } from './read-day.ts';

/** Names of their folders, in the order of days. */
export async function daysWithPages(delivery: string): Promise<string[]> {
  const names = (await readdir(fsPath(delivery), { withFileTypes: true, encoding: 'buffer' }))
    .filter((entry) => entry.isDirectory())
    .map((entry) => nameFromBytes(entry.name))
    .filter((name) => existsSync(fsPath(pageLayout.night(join(delivery, name)))));
  return [...new Set([...(await daysOf(delivery)), ...names])].sort(inDayOrder);
}

/** A pull lies beside days and is none: it is made of a few frames of one, and compared with nothing. */
export const isPull = (delivery: string, folder: string): boolean =>
  existsSync(fsPath(join(delivery, folder, PULL_RECORD)));
