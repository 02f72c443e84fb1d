/** Reads every byte of one copy of a roll. */
import { posix } from 'node:path';
import { type Finding, type FindingSubject, finding } from '../../findings/finding.ts';
import type { RollFile } from '../../ledger/roll.ts';
import { type Walk, walkFolder } from '../../files/walk.ts';
import type { Algorithm } from '../../files/manifest/algorithms.ts';
import { CONTENT_ALGORITHM } from '../../files/manifest/hash.ts';
import type { HashPool } from '../../files/manifest/hash-pool.ts';
import type { Statement } from '../../files/manifest/statement.ts';
import { codeOf } from '../../files/error-code.ts';
import type { FileRead } from '../../files/manifest/hash.ts';
import { printable } from '../../files/names.ts';
import { isSystemPath } from '../../files/system-files.ts';
import type { CopyReads, KeptRead } from './kept-reads.ts';
import { contentsOf } from '../survey/signatures.ts';

/** A copy whose folder could be listed. */
export interface WalkedCopy {
  readonly folder: string;
  readonly walk: Walk;
}

export interface ReadCopy {
  readonly folder: string;
  /** Read whole. */
  readonly files: ReadonlyMap<string, RollFile>;
  /** There, and not read whole: each has its finding. */
  readonly unread: ReadonlySet<string>;
  /** Of the files of which no manifest states a checksum: those that are media by their first bytes. */
  readonly media: ReadonlySet<string>;
  readonly findings: readonly Finding[];
}

export interface ReadOptions {
  readonly roll: string;
  readonly statements: ReadonlyMap<string, Statement>;
  /** Computed of every file, besides what is stated of it. */
  readonly also?: readonly Algorithm[];
  readonly pool: HashPool;
  readonly onBytes: (bytes: number) => void;
  /** What was read of this copy before; absent: nothing that counts. */
  readonly kept?: CopyReads | undefined;
  /** Bytes of a file that is not read again. */
  readonly onKept?: (bytes: number) => void;
  /** What was read cannot be kept: told once. */
  readonly onNotKept?: (error: unknown) => void;
  readonly signal: AbortSignal | undefined;
}

/** By its own text alone: a link is never followed, so what stands at its end decides nothing. */
function leaves(folder: string, path: string, target: string): boolean {
  const resolved = posix.resolve(folder, posix.dirname(path), target);
  const root = posix.resolve(folder);
  return resolved !== root && !resolved.startsWith(`${root}/`);
}

function walkFindings({ folder, walk }: WalkedCopy, subject: FindingSubject): Finding[] {
  const links = walk.links.map(({ path, target }) => {
    const code = leaves(folder, path, target) ? 'link-leaves-roll' : 'link-inside-roll';
    return finding(code, `a link to ${printable(target)}`, 'a file or folder', { ...subject, file: path });
  });
  const others = walk.others.map((path) =>
    finding('file-not-regular', 'a pipe, socket or device', 'a file or folder', { ...subject, file: path }),
  );
  // A system's own folders are often closed to everybody else.
  const closed = walk.unreadable
    .filter(({ path }) => !isSystemPath(path))
    .map(({ path, detail }) =>
      finding('file-unreadable', printable(detail), 'readable', { ...subject, file: path }),
    );
  return [...links, ...others, ...closed];
}

/** A fault when the folder cannot be listed. */
export async function walkCopy(
  folder: string,
  roll: string,
  signal: AbortSignal | undefined,
): Promise<{ walked: WalkedCopy } | { fault: Finding }> {
  try {
    return { walked: { folder, walk: await walkFolder(folder, signal === undefined ? {} : { signal }) } };
  } catch (error) {
    signal?.throwIfAborted();
    return {
      fault: finding('file-unreadable', printable((error as Error).message), 'a folder that can be listed', {
        roll,
        copy: folder,
      }),
    };
  }
}

/** Throws the signal's reason after an abort. */
export async function readCopy(copy: WalkedCopy, options: ReadOptions): Promise<ReadCopy> {
  const { roll, statements, also, pool, onBytes, signal } = options;
  const subject = { roll, copy: copy.folder };
  const findings = walkFindings(copy, subject);
  const files = new Map<string, RollFile>();
  const unread = new Set<string>(copy.walk.unreadable.map(({ path }) => path));
  const reads = copy.walk.files.map(async ({ path }) => {
    const wanted: Algorithm[] = [
      CONTENT_ALGORITHM,
      ...(also ?? []),
      ...(statements.get(path)?.hashes.map(({ algorithm }) => algorithm) ?? []),
    ];
    const known = await options.kept?.find(path, wanted);
    if (known != null) {
      options.onKept?.(known.bytes);
      // The device's number is no part of what a record says.
      const seen = known.stood.slice(known.stood.indexOf(' ') + 1);
      return {
        path,
        read: { state: 'read' as const, bytes: known.bytes, hashes: known.hashes, seen },
        known,
      };
    }
    const read = await pool.hash(
      `${copy.folder}/${path}`,
      wanted,
      signal === undefined ? { onBytes } : { onBytes, signal },
    );
    if (read.state === 'read') await keepRead(path, read, options);
    return { path, read, known: null };
  });
  const earlier: KeptRead[] = [];
  for (const { path, read, known } of await Promise.all(reads)) {
    if (known !== null) earlier.push(known);
    if (read.state === 'read') {
      files.set(path, {
        path,
        bytes: read.bytes,
        hashes: read.hashes as Record<string, string>,
        seen: read.seen,
      });
      continue;
    }
    signal?.throwIfAborted();
    if (read.state === 'stopped') throw new Error('reading was stopped');
    unread.add(path);
    if (read.state === 'changed')
      findings.push(
        finding('file-changed-while-read', read.detail, 'a file that nobody writes to', {
          ...subject,
          file: path,
        }),
      );
    else
      findings.push(
        finding('file-unreadable', printable(read.detail), 'readable', { ...subject, file: path }),
      );
  }
  signal?.throwIfAborted();
  if (earlier.length > 0) findings.push(readEarlier(earlier, subject));
  const unlisted = [...files.keys()].filter((path) => (statements.get(path)?.hashes.length ?? 0) === 0);
  const media = new Set((await contentsOf(copy.folder, unlisted)).keys());
  return { folder: copy.folder, files, unread, media, findings };
}

function readEarlier(reads: readonly KeptRead[], subject: FindingSubject): Finding {
  const bytes = reads.reduce((sum, read) => sum + read.bytes, 0);
  const since = new Date(reads.reduce((least, { at }) => Math.min(least, at), Number.POSITIVE_INFINITY));
  return finding(
    'read-earlier',
    `${reads.length} ${reads.length === 1 ? 'file' : 'files'}, ${bytes} bytes, read since ${since.toISOString()}; size, number and times are unchanged`,
    'files that stay as they were read',
    subject,
  );
}

/** A disk that keeps nothing takes nothing from the night. */
async function keepRead(
  path: string,
  { bytes, hashes, seen }: Extract<FileRead, { state: 'read' }>,
  { kept, onNotKept }: Pick<ReadOptions, 'kept' | 'onNotKept'>,
): Promise<void> {
  try {
    await kept?.keep(path, { bytes, hashes: hashes as Record<string, string>, seen });
  } catch (error) {
    if (codeOf(error) === '') throw error;
    onNotKept?.(error);
  }
}
