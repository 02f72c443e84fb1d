/** Every file of a day that is handed over, with what it must be: what the list of the handover names, and the few records beside it that carry a time or a signature. */
import { createHash } from 'node:crypto';
import { lstat, readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { readChecksumList } from '../../files/checksum-list.ts';
import { codeOf } from '../../files/error-code.ts';
import { fsPath } from '../../files/names.ts';
import { type Finding, finding } from '../../findings/finding.ts';
import type { Day } from '../../handover/day.ts';
import { handedOver } from '../../handover/files.ts';
import { HANDOVER, handoverLayout, PULL_RECORD } from '../../handover/layout.ts';
import { layout } from '../../ledger/layout.ts';
import { pullFiles } from '../pull/record.ts';

export interface HandedFile {
  /** Below the day's folder, `/` between parts. */
  readonly path: string;
  readonly bytes: number;
  readonly sha256: string;
}

/** Records that are written again when a roll is decided again: on a drive an older one of ours gives way to them. Deliverables never do. */
export const isRecord = (path: string): boolean =>
  path.startsWith(`${HANDOVER}/`) ||
  path === PULL_RECORD ||
  /^[^/]+\/(?:roll\.json|statement\.json|statement\.dsse\.json)$/.test(path) ||
  /^[^/]+\/reports\/(?:[^/]+|deliverables\/[^/]+|stills\/[^/]+)\.json$/.test(path);

async function digestOf(path: string): Promise<{ bytes: number; sha256: string } | null> {
  try {
    const bytes = await readFile(fsPath(path));
    return { bytes: bytes.length, sha256: createHash('sha256').update(bytes).digest('hex') };
  } catch (error) {
    if (codeOf(error) === 'ENOENT') return null;
    throw error;
  }
}

/** Throws what node:fs throws. A file that is named and not there is a finding. */
export async function handedFiles(
  dayFolder: string,
  day: Day,
): Promise<{ readonly files: HandedFile[]; readonly findings: Finding[] }> {
  const list = `${HANDOVER}/${handoverLayout.checksums}`;
  const findings: Finding[] = [];
  const files: HandedFile[] = [];
  for (const { name, sha256 } of readChecksumList(await readFile(join(dayFolder, list)))) {
    try {
      const stats = await lstat(fsPath(join(dayFolder, name)));
      if (stats.isFile()) files.push({ path: name, bytes: stats.size, sha256 });
      else
        findings.push(finding('handover-read-differs', 'no plain file', `SHA-256 ${sha256}`, { file: name }));
    } catch (error) {
      if (codeOf(error) === '') throw error;
      findings.push(
        finding('handover-read-differs', `it cannot be read (${codeOf(error)})`, `SHA-256 ${sha256}`, {
          file: name,
        }),
      );
    }
  }
  const beside = [
    ...handedOver(day).flatMap(({ folder }) => [
      layout.verdict(folder),
      // Signed after the list was written.
      layout.envelope(folder),
    ]),
    // Of a pull: what it was pulled for, and what came of it.
    ...pullFiles,
    list,
    // Last: where it stands, all that it names does.
    `${HANDOVER}/${handoverLayout.statement}`,
  ];
  for (const path of beside) {
    const there = await digestOf(join(dayFolder, path));
    if (there !== null) files.push({ path, ...there });
  }
  return { files, findings };
}
