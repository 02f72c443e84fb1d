/**
 * The ASC MHL history of a day on a drive: a generation for each handover that brought something, from the checksums that were read back. Records that
 * are written again with a later verdict are left out by its ignore patterns: `handover/checksums.sha256` has them. Source: ASC MHL specification v1.0.
 */
import { hostname } from 'node:os';
import { basename } from 'node:path';
import { packageVersion } from '../../files/installation.ts';
import { folderHashes } from '../../files/manifest/directory-hash.ts';
import { DEFAULT_IGNORE } from '../../files/manifest/generation.ts';
import { generationName, writeGeneration, type WrittenFile } from '../../files/manifest/write-generation.ts';
import { blocks, type Finding, FindingError } from '../../findings/finding.ts';
import { HANDOVER } from '../../handover/layout.ts';
import { writeFirst, writeFurther } from '../manifests/write.ts';
import { historyThere } from './history-audit.ts';

/** Patterns as in a gitignore file, from the day's folder. */
const LEFT_OUT = [
  `/${HANDOVER}/`,
  '/*/roll.json',
  '/*/statement.json',
  '/*/statement.dsse.json',
  '/*/reports/*.json',
  '/*/reports/deliverables/*.json',
  '/*/reports/stills/*.json',
];

export interface OnDrive {
  /** Below the day's folder. */
  readonly path: string;
  readonly bytes: number;
  readonly xxh128: string;
  readonly modifiedAt: Date;
}

/** Full path of the generation that was written; null: the history names all of it already. Throws FindingError for a history that is not whole. */
export async function writeDriveHistory(
  dayFolder: string,
  files: readonly OnDrive[],
): Promise<string | null> {
  const before = await historyThere(dayFolder);
  const faults: readonly Finding[] = before?.history.findings.filter(blocks) ?? [];
  if (faults.length > 0) throw new FindingError(faults);
  const known = new Map(before?.history.statements.map(({ path, hashes }) => [path, hashes]));
  const written = files.map(({ path, bytes, xxh128, modifiedAt }): WrittenFile => {
    const stated = known
      .get(path)
      ?.some(({ algorithm, value }) => algorithm === 'xxh128' && value === xxh128);
    const action = stated === true ? 'verified' : 'original';
    return { path, bytes, modifiedAt, hashes: [{ algorithm: 'xxh128', value: xxh128, action }] };
  });
  if (before !== null && written.every(({ hashes }) => hashes[0]?.action === 'verified')) return null;
  const at = new Date();
  const folders = [...new Set(files.flatMap(({ path }) => parentsOf(path)))].sort();
  const generation = writeGeneration({
    createdAt: at,
    host: hostname(),
    tool: { name: 'rushlight', version: packageVersion() },
    process: 'transfer',
    ignore: [...DEFAULT_IGNORE, ...LEFT_OUT],
    files: written,
    folders: folderHashes(
      'xxh128',
      files.map(({ path, xxh128 }) => ({ path, value: xxh128 })),
      folders,
    ),
    folderAlgorithm: 'xxh128',
  });
  const name = generationName((before?.history.chain.length ?? 0) + 1, basename(dayFolder), at);
  return before === null
    ? await writeFirst(dayFolder, name, generation)
    : await writeFurther(dayFolder, name, generation, { entries: before.history.chain, bytes: before.chain });
}

function parentsOf(path: string): string[] {
  const parts = path.split('/').slice(0, -1);
  return parts.map((_, index) => parts.slice(0, index + 1).join('/'));
}
