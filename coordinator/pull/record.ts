/** The record of a pull and its copy of the cut, in the folder that the pull is in the delivery. */
import { readFile } from 'node:fs/promises';
import { basename, join } from 'node:path';
import { createHash } from 'node:crypto';
import { codeOf } from '../../files/error-code.ts';
import { fsPath, printable } from '../../files/names.ts';
import { type ReadRecord, readRecord, writeRecord, writeWhole } from '../../ledger/store.ts';
import { foldersIn } from '../../handover/read-day.ts';
import { keptCut, PULL_RECORD } from '../../handover/layout.ts';
import { type PullClip, type PullRecord, pullRecordSchema } from './form.ts';
import type { PullOrder } from './order.ts';
import type { Pull } from './resolve.ts';

/** Names that a pull has in its folder beside its rolls. */
export const pullFiles = [PULL_RECORD, keptCut('edl'), keptCut('otio')] as const;

export function pullRecord(
  { file, sha256, cut, handles, rate, day }: PullOrder,
  { ranges, uses, findings }: Pull,
  { rolls, clips }: { readonly rolls: readonly string[]; readonly clips: readonly PullClip[] },
): PullRecord {
  return {
    version: 0,
    kind: 'pull',
    day,
    cut: {
      file: printable(basename(file)),
      kept: keptCut(cut.form),
      sha256,
      form: cut.form,
      title: cut.title,
    },
    handles,
    rate,
    rolls: [...rolls],
    clips: [...clips],
    uses: [...uses],
    ranges: [...ranges],
    findings: [...findings],
  };
}

/** The cut first: a record that stands names a file that does. */
export async function writePull(dayFolder: string, record: PullRecord, cut: Buffer): Promise<void> {
  await writeWhole(join(dayFolder, record.cut.kept), cut);
  await writeRecord(join(dayFolder, PULL_RECORD), pullRecordSchema, record);
}

export const readPull = (dayFolder: string): Promise<ReadRecord<PullRecord>> =>
  readRecord(join(dayFolder, PULL_RECORD), pullRecordSchema);

/** The kept cut; null: it is not there, or another one. */
export async function readKeptCut(dayFolder: string, { cut }: PullRecord): Promise<Buffer | null> {
  try {
    const bytes = await readFile(fsPath(join(dayFolder, keptCut(cut.form))));
    return createHash('sha256').update(bytes).digest('hex') === cut.sha256 ? bytes : null;
  } catch (error) {
    if (codeOf(error) === '') throw error;
    return null;
  }
}

/** Folders of a delivery that are pulls of this shoot day, by name. */
export async function pullsOf(delivery: string, day: string): Promise<string[]> {
  const found: string[] = [];
  for (const folder of await foldersIn(delivery)) {
    const read = await readPull(join(delivery, folder));
    if (read.state === 'read' && read.value.day === day) found.push(folder);
  }
  return found.sort();
}
