/** Statement and signed statement of a roll, on disk. */
import { codeOf } from '../../files/error-code.ts';
import { readFile, rm } from 'node:fs/promises';
import { layout } from '../../ledger/layout.ts';
import { type RollStatement, statementBytes } from '../../ledger/provenance/build.ts';
import { type Envelope, envelopeSchema } from '../../ledger/provenance/envelope.ts';
import { readRecord, writeWhole } from '../../ledger/store.ts';

/** A statement speaks of one state of a roll; it goes before that state does, and the signed one with it. */
export async function removeStatement(rollFolder: string): Promise<void> {
  for (const path of [layout.envelope(rollFolder), layout.statement(rollFolder)])
    await rm(path, { force: true });
}

async function bytesAt(path: string): Promise<Buffer | null> {
  try {
    return await readFile(path);
  } catch (error) {
    if (codeOf(error) === 'ENOENT') return null;
    throw error;
  }
}

/** Where the same was stated before, nothing is touched: what was signed stays signed. */
export async function writeStatement(rollFolder: string, statement: RollStatement): Promise<void> {
  const bytes = statementBytes(statement);
  if ((await bytesAt(layout.statement(rollFolder)))?.equals(bytes) !== true) {
    await removeStatement(rollFolder);
    await writeWhole(layout.statement(rollFolder), bytes);
    return;
  }
  const envelope = await readRecord(layout.envelope(rollFolder), envelopeSchema);
  if (envelope.state === 'damaged' || (envelope.state === 'read' && !isOf(envelope.value, bytes)))
    await rm(layout.envelope(rollFolder), { force: true });
}

/** Whether the envelope carries exactly these bytes. */
function isOf(envelope: Envelope, statement: Buffer): boolean {
  return envelope.payload.equals(statement);
}
