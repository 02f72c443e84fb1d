/**
 * What a system says of a file without reading it. Whoever writes into a file, cuts it, puts another in its place or sets
 * its time of writing back moves at least one of these: nobody can set st_ctim (POSIX.1-2017, <sys/stat.h>). Bytes that a
 * drive gives wrong, or that somebody writes to the device itself, move none. The device's number is left out: it is
 * another one on each machine and after each mount.
 */
import type { BigIntStats } from 'node:fs';
import { lstat } from 'node:fs/promises';
import { createHash } from 'node:crypto';
import { join } from 'node:path';
import { codeOf } from './error-code.ts';
import { fsPath } from './names.ts';

type SeenStats = Pick<BigIntStats, 'size' | 'ino' | 'mtimeNs' | 'ctimeNs'>;

/** Size in bytes, number, time of writing and of the last change, in ns. */
export function seenText({ size, ino, mtimeNs, ctimeNs }: SeenStats): string {
  return `${size}.${ino}.${mtimeNs}.${ctimeNs}`;
}

/** Of one file; null: there is none under that path, or it cannot be looked at. */
export async function seenAt(path: string): Promise<string | null> {
  try {
    const stats = await lstat(fsPath(path), { bigint: true });
    return stats.isFile() ? seenText(stats) : null;
  } catch (error) {
    if (codeOf(error) === '') throw error;
    return null;
  }
}

/** Without the file's number, which some file systems make up again whenever they like; a new file in an old one's place has another st_ctim all the same. */
export function withoutNumber(seen: string): string {
  const [size, , ...times] = seen.split('.');
  return [size, ...times].join('.');
}

/** Of many, as one text of fixed length and without numbers: equal exactly when all of them are, names included. Files that are not there count as such. */
export async function seenTogether(folder: string, paths: readonly string[]): Promise<string> {
  const files: (readonly [string, string | null])[] = [];
  for (const path of paths) files.push([path, await seenAt(join(folder, path))]);
  return seenDigest(files, 'without-numbers');
}

/** Of [path, text of `seenText` or null], in any order. */
export function seenDigest(
  files: readonly (readonly [path: string, seen: string | null])[],
  numbers: 'with-numbers' | 'without-numbers',
): string {
  const lines = files.map(([path, seen]) =>
    JSON.stringify([path, seen === null || numbers === 'with-numbers' ? seen : withoutNumber(seen)]),
  );
  return createHash('sha256').update(lines.sort().join('\n')).digest('hex');
}
