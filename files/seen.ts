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

/** Of many, as one text of fixed length: equal exactly when all of them are, names included. Files that are not there count as such. */
export async function seenTogether(folder: string, paths: readonly string[]): Promise<string> {
  const lines: string[] = [];
  for (const path of paths) lines.push(JSON.stringify([path, await seenAt(join(folder, path))]));
  return seenDigest(lines);
}

/** The same without the files' numbers, which some file systems make up again whenever they like. */
export async function seenWithoutNumbers(folder: string, paths: readonly string[]): Promise<string> {
  const lines: string[] = [];
  for (const path of paths) {
    const [size, , ...times] = (await seenAt(join(folder, path)))?.split('.') ?? [];
    lines.push(JSON.stringify([path, size ?? null, ...times]));
  }
  return seenDigest(lines);
}

/** `lines`: JSON of [path, text of `seenText` or null], in any order. */
export function seenDigest(lines: readonly string[]): string {
  return createHash('sha256')
    .update([...lines].sort().join('\n'))
    .digest('hex');
}
