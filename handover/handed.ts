/**
 * All that is handed over of the rolls of a day, file by file with SHA-256: what their statements name, folders of frames by their checksum lists. In
 * the form of sha256sum, with paths from the day's folder, so that `sha256sum -c handover/checksums.sha256` proves it without this program.
 */
import { createHash } from 'node:crypto';
import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { checksumListText, ChecksumListError, readChecksumList } from '../files/checksum-list.ts';
import { codeOf } from '../files/error-code.ts';
import { fsPath } from '../files/names.ts';
import { FindingError, finding } from '../findings/finding.ts';
import { layout, placeBelow } from '../ledger/layout.ts';
import { predicateSchema } from '../ledger/provenance/predicate.ts';
import { statementSchema } from '../ledger/provenance/statement.ts';
import { readRecord } from '../ledger/store.ts';
import type { DayRoll } from './day.ts';
import type { NamedFile } from './statement.ts';

const absent = (found: string, roll: string, file: string): FindingError =>
  new FindingError([
    finding('handover-source-differs', found, 'what the statement of the roll names', { roll, file }),
  ]);

/** `path`: below the roll's folder. Throws FindingError where the folder's list is not the one that was named. */
async function framesOf(
  rollFolder: string,
  roll: string,
  { path, digest, records }: { path: string; digest: string; records: readonly NamedFile[] },
): Promise<NamedFile[]> {
  const list = records.find(
    ({ path: name, sha256 }) => sha256 === digest && name.startsWith('reports/checksums/'),
  );
  const place = list === undefined ? null : placeBelow(rollFolder, list.path);
  if (place === null) throw absent('a folder without its checksum list', roll, path);
  let text: Buffer;
  try {
    text = await readFile(fsPath(place));
  } catch (error) {
    if (codeOf(error) === '') throw error;
    throw absent(`its checksum list cannot be read (${codeOf(error)})`, roll, path);
  }
  if (createHash('sha256').update(text).digest('hex') !== digest)
    throw absent('another checksum list', roll, path);
  try {
    return readChecksumList(text).map(({ name, sha256 }) => ({ path: `${path}/${name}`, sha256 }));
  } catch (error) {
    if (error instanceof ChecksumListError) throw absent(error.message, roll, path);
    throw error;
  }
}

/** With paths from the day's folder. Throws FindingError where statement or lists do not say it. */
export async function filesOfRoll(dayFolder: string, { roll, folder }: DayRoll): Promise<NamedFile[]> {
  const rollFolder = join(dayFolder, folder);
  const read = await readRecord(layout.statement(rollFolder), statementSchema);
  if (read.state !== 'read')
    throw absent(read.state === 'absent' ? 'no statement' : read.finding.found, roll, 'statement.json');
  const predicate = predicateSchema.safeParse(read.value.predicate);
  if (!predicate.success) throw absent('a statement of another form', roll, 'statement.json');
  const records = predicate.data.records.map(({ name, digest }) => ({ path: name, sha256: digest.sha256 }));
  const files: NamedFile[] = [
    ...records,
    { path: 'statement.json', sha256: createHash('sha256').update(read.bytes).digest('hex') },
  ];
  for (const { name = '', digest = {} } of read.value.subject) {
    const { sha256, dirHash } = digest;
    if (sha256 !== undefined) files.push({ path: name, sha256 });
    else if (dirHash !== undefined)
      files.push(...(await framesOf(rollFolder, roll, { path: name, digest: dirHash, records })));
    else throw absent('a file without SHA-256', roll, name);
  }
  return files.map(({ path, sha256 }) => ({ path: `${folder}/${path}`, sha256 }));
}

/** The text of the list. `own`: files of the handover, with paths below it. */
export const handedText = (files: readonly NamedFile[], own: readonly NamedFile[]): Buffer =>
  checksumListText(
    [...files, ...own.map(({ path, sha256 }) => ({ path: `handover/${path}`, sha256 }))].map(
      ({ path, sha256 }) => ({ name: path, sha256 }),
    ),
  );
