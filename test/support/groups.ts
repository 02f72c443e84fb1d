/** A folder of another group, and who has what below it. */
import { chmodSync, chownSync, lstatSync, mkdirSync, readdirSync } from 'node:fs';
import { join } from 'node:path';

/** One that the tests may give: any to root, otherwise one of this user's; where there is one alone, that one. */
export const otherGroup: number =
  process.getuid?.() === 0
    ? 43_210
    : (process.getgroups?.().find((gid) => gid !== process.getgid?.()) ?? process.getgid?.() ?? 0);

export function makeFolderOfOthers(path: string, mode: number): void {
  mkdirSync(path, { recursive: true });
  chownSync(path, -1, otherGroup);
  chmodSync(path, mode);
}

export interface Belonging {
  readonly path: string;
  readonly isFolder: boolean;
  readonly gid: number;
  /** All twelve bits. */
  readonly mode: number;
}

/** Everything below it, links left out. */
export function belongings(folder: string): Belonging[] {
  return readdirSync(folder, { withFileTypes: true, recursive: true })
    .filter((entry) => !entry.isSymbolicLink())
    .map((entry) => {
      const path = join(entry.parentPath, entry.name);
      const { gid, mode } = lstatSync(path);
      return { path, isFolder: entry.isDirectory(), gid, mode: mode & 0o7777 };
    });
}
