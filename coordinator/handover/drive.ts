/** What an earlier handover left on a drive: which of its records may give way to newer ones. */
import { createHash } from 'node:crypto';
import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { ChecksumListError, type ListedFile, readChecksumList } from '../../files/checksum-list.ts';
import { codeOf } from '../../files/error-code.ts';
import { HANDOVER, handoverLayout } from '../../handover/layout.ts';
import { handoverStatementSchema } from '../../handover/statement.ts';
import { layout } from '../../ledger/layout.ts';
import { envelopeSchema } from '../../ledger/provenance/envelope.ts';
import { predicateSchema, verdictDigest } from '../../ledger/provenance/predicate.ts';
import { statementSchema } from '../../ledger/provenance/statement.ts';
import { rollVerdictSchema } from '../../ledger/roll.ts';
import { readRecord } from '../../ledger/store.ts';

const sha256Of = (bytes: Buffer): string => createHash('sha256').update(bytes).digest('hex');

/** `path` and SHA-256 of records there that a handover of ours wrote: by its statement, its list, and what these bind. `dayFolder`: of the day on the drive. */
export async function oursOnDrive(dayFolder: string): Promise<(path: string, sha256: string) => boolean> {
  const ours = new Set<string>();
  const add = (path: string, sha256: string): void => void ours.add(`${path}\0${sha256}`);
  const is = (path: string, sha256: string): boolean => ours.has(`${path}\0${sha256}`);
  const statement = await readRecord(
    join(dayFolder, HANDOVER, handoverLayout.statement),
    handoverStatementSchema,
  );
  if (statement.state !== 'read') return is;
  add(`${HANDOVER}/${handoverLayout.statement}`, sha256Of(statement.bytes));
  const { subject, predicate } = statement.value;
  for (const { name, digest } of [...subject, ...predicate.earlier])
    add(`${HANDOVER}/${name}`, digest.sha256);
  const list = await listOn(dayFolder);
  // A list that the statement does not name speaks for nothing.
  if (list !== null && is(`${HANDOVER}/${handoverLayout.checksums}`, list.sha256))
    for (const { name, sha256 } of list.files) add(name, sha256);
  for (const { folder } of predicate.rolls) await addVerdict(dayFolder, folder, { add, is });
  return is;
}

async function listOn(
  dayFolder: string,
): Promise<{ readonly files: readonly ListedFile[]; readonly sha256: string } | null> {
  try {
    const text = await readFile(join(dayFolder, HANDOVER, handoverLayout.checksums));
    return { files: readChecksumList(text), sha256: sha256Of(text) };
  } catch (error) {
    if (codeOf(error) === '' && !(error instanceof ChecksumListError)) throw error;
    return null;
  }
}

interface Ours {
  readonly add: (path: string, sha256: string) => void;
  readonly is: (path: string, sha256: string) => boolean;
}

/** The verdict that the roll's statement names, whenever it was decided, and a signature of that very statement. */
async function addVerdict(dayFolder: string, folder: string, { add, is }: Ours): Promise<void> {
  const rollFolder = join(dayFolder, folder);
  const statement = await readRecord(layout.statement(rollFolder), statementSchema);
  if (statement.state !== 'read' || !is(`${folder}/statement.json`, sha256Of(statement.bytes))) return;
  const predicate = predicateSchema.safeParse(statement.value.predicate);
  const verdict = await readRecord(layout.verdict(rollFolder), rollVerdictSchema);
  if (
    predicate.success &&
    verdict.state === 'read' &&
    verdictDigest(verdict.value) === predicate.data.verdict.digest.sha256
  )
    add(`${folder}/roll.json`, sha256Of(verdict.bytes));
  const envelope = await readRecord(layout.envelope(rollFolder), envelopeSchema);
  if (envelope.state === 'read' && envelope.value.payload.equals(statement.bytes))
    add(`${folder}/statement.dsse.json`, sha256Of(envelope.bytes));
}
