/** Copies looked at once more when everything is made: a night lies between, and a drive that somebody writes to meanwhile is not what was verified. */
import { stat } from 'node:fs/promises';
import { join } from 'node:path';
import { codeOf } from '../../files/error-code.ts';
import { CONTENT_ALGORITHM, hashFile } from '../../files/manifest/hash.ts';
import { fsPath } from '../../files/names.ts';
import { seenAt, withoutNumber } from '../../files/seen.ts';
import { type Finding, finding } from '../../findings/finding.ts';
import { FindingTally } from '../../findings/tally.ts';
import type { IntakeResult, RollFile } from '../../ledger/roll.ts';

/** Files of one copy as they were read. */
export interface CopyAsRead {
  readonly folder: string;
  readonly files: readonly RollFile[];
}

/** What intake knows of a roll, and of every copy what it read: for this command alone, no record has it. */
export interface ReadRoll extends IntakeResult {
  readonly asRead: readonly CopyAsRead[];
}

/** Sizes and times of all files; only what moved is read again. A drive that was taken away has not changed. */
export async function copiesSince(
  { roll, asRead }: Pick<ReadRoll, 'roll' | 'asRead'>,
  signal?: AbortSignal,
): Promise<Finding[]> {
  const found = new FindingTally();
  for (const { folder, files } of asRead) {
    const about = { roll, copy: folder };
    if (!(await isThere(folder))) {
      found.add(finding('copy-gone-since', 'no such folder now', 'a copy that stays mounted', about));
      continue;
    }
    for (const file of files) {
      if (signal?.aborted === true) return found.findings();
      const seen = await seenAt(join(folder, file.path));
      if (seen !== null && file.seen !== undefined && withoutNumber(seen) === withoutNumber(file.seen))
        continue;
      const why = await whyChanged(join(folder, file.path), file);
      if (why !== null)
        found.add(
          finding('copy-changed-since', why, 'the bytes that were read', { ...about, file: file.path }),
        );
    }
  }
  return found.findings();
}

async function isThere(folder: string): Promise<boolean> {
  try {
    return (await stat(fsPath(folder))).isDirectory();
  } catch (error) {
    if (codeOf(error) === '') throw error;
    return false;
  }
}

async function whyChanged(path: string, { bytes, hashes }: RollFile): Promise<string | null> {
  const read = await hashFile(path, [CONTENT_ALGORITHM]);
  if (read.state !== 'read') return read.state === 'stopped' ? null : read.detail;
  const now = read.hashes[CONTENT_ALGORITHM] ?? '';
  return read.bytes === bytes && now === hashes[CONTENT_ALGORITHM]
    ? null
    : `${read.bytes} bytes, ${CONTENT_ALGORITHM} ${now}`;
}
