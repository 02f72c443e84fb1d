/** Writes the handover of a day anew, from the verdicts as they are: after a run, and after copies were added to a verdict. */
import { join } from 'node:path';
import { codeOf } from '../../files/error-code.ts';
import { type Finding, FindingError, finding } from '../../findings/finding.ts';
import { HANDOVER } from '../../handover/layout.ts';
import { publishHandover, readHandover } from '../../handover/publish.ts';
import { layout } from '../../ledger/layout.ts';
import type { NightFolders } from '../roll/folders.ts';

/** What it could not do holds no roll: the verdicts stand without it. */
export async function handOver(
  folders: Pick<NightFolders, 'delivery' | 'dayName'>,
): Promise<readonly Finding[]> {
  const dayFolder = layout.dayFolder(folders.delivery, folders.dayName);
  try {
    return (await publishHandover(dayFolder)).findings;
  } catch (error) {
    if (error instanceof FindingError) return error.findings;
    // A run of which no roll came to a verdict has made no folder.
    if (codeOf(error) === 'ENOENT') return [];
    if (codeOf(error) === '') throw error;
    return [
      finding(
        'handover-not-written',
        `${codeOf(error)}: ${(error as Error).message}`,
        'a handover of the day',
        {
          file: dayFolder,
        },
      ),
    ];
  }
}

/** The folder in which the day's ready rolls are handed over; null: none is, or it cannot be read. */
export async function handoverOf({
  delivery,
  dayName,
}: Pick<NightFolders, 'delivery' | 'dayName'>): Promise<string | null> {
  const folder = join(layout.dayFolder(delivery, dayName), HANDOVER);
  const statement = await readHandover(folder);
  return statement === null || statement.predicate.rolls.length === 0 ? null : folder;
}
