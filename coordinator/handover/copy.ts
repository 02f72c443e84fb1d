/**
 * One file to several drives, read once: staged beside its name on each, synced, read back and compared, and given its name only then. What stands on
 * a drive already is read as well: the same bytes are done, others stay as they are, but for records that an earlier handover wrote there.
 */
import { createHash } from 'node:crypto';
import { type FileHandle, open, rm } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { belongToFolder } from '../../files/belonging.ts';
import { digestOfFile, type FileDigest } from '../../files/digest.ts';
import { codeOf } from '../../files/error-code.ts';
import { makeFolders } from '../../files/folders.ts';
import { fsPath, printable } from '../../files/names.ts';
import { publishFile } from '../../files/publish.ts';
import { type Finding, finding } from '../../findings/finding.ts';
import { STAGING_PREFIX } from '../../ledger/layout.ts';
import { newToken } from '../../ledger/owner.ts';
import { digestOfPlain } from '../../ledger/sidecars.ts';
import { type HandedFile, isRecord } from './list.ts';

export interface CopyDrive {
  /** The day's folder on the drive. */
  readonly dayFolder: string;
  readonly isOurs: (path: string, sha256: string) => boolean;
}

/** Of one file on one drive. `digest`: what lies there under its name, read back. */
export type Copied =
  | { readonly kind: 'copied' | 'there'; readonly digest: FileDigest }
  | { readonly kind: 'refused'; readonly found: Finding };

const CHUNK = 1024 * 1024;

interface Staging {
  readonly drive: CopyDrive;
  readonly staged: string;
  readonly handle: FileHandle;
}

const failed = (error: unknown, file: HandedFile): Finding =>
  finding('handover-copy-failed', `${codeOf(error)}: ${(error as Error).message}`, 'a copy', {
    file: file.path,
  });

export interface CopyRules {
  readonly signal: AbortSignal;
  /** Bytes of the file that were read since the last time. */
  readonly onBytes?: (bytes: number) => void;
  /** How a copy is read back; given so that a drive that gives other bytes can be stood in for. */
  readonly readBack?: typeof digestOfFile;
}

/** In the order of the drives. Throws the signal's reason, with nothing under a name that is not whole. */
export async function copyFile(
  sourceFolder: string,
  file: HandedFile,
  drives: readonly CopyDrive[],
  rules: CopyRules,
): Promise<Copied[]> {
  const results = new Map<CopyDrive, Copied>();
  const due: CopyDrive[] = [];
  for (const drive of drives) {
    const there = await standing(file, drive);
    if (there === null) due.push(drive);
    else results.set(drive, there);
  }
  if (due.length > 0)
    for (const [drive, result] of await stageAndName(sourceFolder, file, due, rules))
      results.set(drive, result);
  return drives.map((drive) => results.get(drive) as Copied);
}

/** null: it is to be copied. */
async function standing(file: HandedFile, { dayFolder, isOurs }: CopyDrive): Promise<Copied | null> {
  const there = await digestOfPlain(join(dayFolder, file.path));
  if (there === null) return null;
  if (there.sha256 === file.sha256) return { kind: 'there', digest: there as FileDigest };
  if (isRecord(file.path) && isOurs(file.path, there.sha256)) return null;
  return {
    kind: 'refused',
    found: finding(
      'handover-target-taken',
      `a file of ${there.bytes} bytes, SHA-256 ${there.sha256}`,
      `SHA-256 ${file.sha256}, or no file`,
      { file: printable(join(dayFolder, file.path)) },
    ),
  };
}

async function stageAndName(
  sourceFolder: string,
  file: HandedFile,
  due: readonly CopyDrive[],
  rules: CopyRules,
): Promise<Map<CopyDrive, Copied>> {
  const results = new Map<CopyDrive, Copied>();
  const refuse = (drive: CopyDrive, found: Finding): void =>
    void results.set(drive, { kind: 'refused', found });
  const stagings: Staging[] = [];
  try {
    for (const drive of due) {
      const folder = dirname(join(drive.dayFolder, file.path));
      try {
        await makeFolders(folder);
        const staged = join(folder, `${STAGING_PREFIX}${newToken()}`);
        stagings.push({ drive, staged, handle: await open(fsPath(staged), 'wx') });
      } catch (error) {
        if (codeOf(error) === '') throw error;
        refuse(drive, failed(error, file));
      }
    }
    const read = await pour(join(sourceFolder, file.path), file, { stagings, refuse, rules });
    for (const { drive, staged, handle } of stagings) {
      if (results.has(drive)) continue;
      try {
        if (read !== file.sha256)
          refuse(
            drive,
            finding('handover-read-differs', `SHA-256 ${read}`, `SHA-256 ${file.sha256}`, {
              file: file.path,
            }),
          );
        else {
          await belongToFolder(handle, dirname(staged));
          await handle.sync();
          results.set(drive, await name(file, drive, staged, rules));
        }
      } catch (error) {
        rules.signal.throwIfAborted();
        if (codeOf(error) === '') throw error;
        refuse(drive, failed(error, file));
      }
    }
    return results;
  } finally {
    for (const { staged, handle } of stagings) {
      await handle.close().catch(() => undefined);
      await rm(fsPath(staged), { force: true }).catch(() => undefined);
    }
  }
}

interface Pouring {
  readonly stagings: readonly Staging[];
  readonly refuse: (drive: CopyDrive, found: Finding) => void;
  readonly rules: CopyRules;
}

/** SHA-256 of what was read. A drive that takes no more is left out, and the others go on. */
async function pour(
  source: string,
  file: HandedFile,
  { stagings, refuse, rules: { signal, onBytes } }: Pouring,
): Promise<string> {
  const hash = createHash('sha256');
  const taking = new Set(stagings);
  const reading = await open(fsPath(source), 'r');
  try {
    const buffer = Buffer.allocUnsafe(CHUNK);
    for (;;) {
      signal.throwIfAborted();
      const { bytesRead } = await reading.read(buffer, 0, CHUNK, null);
      if (bytesRead === 0) return hash.digest('hex');
      const chunk = buffer.subarray(0, bytesRead);
      hash.update(chunk);
      onBytes?.(bytesRead);
      await Promise.all(
        [...taking].map(async (staging) => {
          try {
            await staging.handle.writeFile(chunk);
          } catch (error) {
            if (codeOf(error) === '') throw error;
            taking.delete(staging);
            refuse(staging.drive, failed(error, file));
          }
        }),
      );
    }
  } finally {
    await reading.close();
  }
}

async function name(
  file: HandedFile,
  { dayFolder, isOurs }: CopyDrive,
  staged: string,
  { signal, readBack = digestOfFile }: CopyRules,
): Promise<Copied> {
  const checked = await readBack(staged, signal);
  if (checked.sha256 !== file.sha256)
    return {
      kind: 'refused',
      found: finding(
        'handover-copy-differs',
        `SHA-256 ${checked.sha256}, read back`,
        `SHA-256 ${file.sha256}`,
        {
          file: printable(join(dayFolder, file.path)),
        },
      ),
    };
  const final = join(dayFolder, file.path);
  const older = isRecord(file.path) ? await digestOfPlain(final) : null;
  const outcome = await publishFile({
    staged,
    final,
    checked,
    isOurs: (xxh128) => older !== null && older.xxh128 === xxh128 && isOurs(file.path, older.sha256),
    signal,
  });
  return outcome.kind === 'taken'
    ? {
        kind: 'refused',
        found: finding('handover-target-taken', outcome.found, `SHA-256 ${file.sha256}, or no file`, {
          file: printable(final),
        }),
      }
    : { kind: 'copied', digest: checked };
}
