/** What lies in a folder, by lstat: names as bytes, symbolic links seen and never followed, nothing left out. */
import { lstat, readdir, readlink } from 'node:fs/promises';
import { fsPath, nameFromBytes } from './names.ts';

export interface WalkedFile {
  /** Relative to the walked folder, `/` between parts (see names.ts for bytes that are not UTF-8). */
  readonly path: string;
  readonly bytes: number;
  readonly modifiedAt: Date;
}

export interface Walk {
  readonly files: readonly WalkedFile[];
  readonly folders: readonly string[];
  readonly links: readonly { readonly path: string; readonly target: string }[];
  /** Pipes, sockets, devices. */
  readonly others: readonly string[];
  readonly unreadable: readonly { readonly path: string; readonly detail: string }[];
}

export interface WalkOptions {
  readonly signal?: AbortSignal;
  /** A folder for which this says true is named in `folders` and not entered. */
  readonly skip?: (path: string) => boolean;
}

/** Order by code units: the same on every machine. */
export function byPath(a: { readonly path: string }, b: { readonly path: string }): number {
  return a.path < b.path ? -1 : a.path > b.path ? 1 : 0;
}

/** Throws what node:fs throws when the folder itself cannot be listed; what lies below and cannot be read is in `unreadable`. */
export async function walkFolder(folder: string, options: WalkOptions = {}): Promise<Walk> {
  const files: WalkedFile[] = [];
  const folders: string[] = [];
  const links: { path: string; target: string }[] = [];
  const others: string[] = [];
  const unreadable: { path: string; detail: string }[] = [];
  const waiting = [''];
  for (let at = waiting.pop(); at !== undefined; at = waiting.pop()) {
    options.signal?.throwIfAborted();
    let names: Buffer[];
    try {
      names = await readdir(fsPath(at === '' ? folder : `${folder}/${at}`), { encoding: 'buffer' });
    } catch (error) {
      if (at === '') throw error;
      unreadable.push({ path: at, detail: (error as Error).message });
      continue;
    }
    for (const bytes of names) {
      const name = nameFromBytes(bytes);
      const path = at === '' ? name : `${at}/${name}`;
      const full = fsPath(`${folder}/${path}`);
      try {
        const stat = await lstat(full);
        if (stat.isFile()) files.push({ path, bytes: stat.size, modifiedAt: stat.mtime });
        else if (stat.isDirectory()) {
          folders.push(path);
          if (options.skip?.(path) !== true) waiting.push(path);
        } else if (stat.isSymbolicLink())
          links.push({ path, target: nameFromBytes(await readlink(full, { encoding: 'buffer' })) });
        else others.push(path);
      } catch (error) {
        unreadable.push({ path, detail: (error as Error).message });
      }
    }
  }
  return {
    files: files.sort(byPath),
    folders: folders.sort(),
    links: links.sort(byPath),
    others: others.sort(),
    unreadable: unreadable.sort(byPath),
  };
}
