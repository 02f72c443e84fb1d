/**
 * Folder hashes of ASC MHL: `content` stays the same when things are renamed, `structure` does not. Pure.
 * Source: ASC MHL specification v1.0, directory hashes; lists are sorted by the text of the hashes.
 */
import { nameToBytes } from '../names.ts';
import type { MhlFormat } from './generation.ts';
import { c4ToDigest } from './c4.ts';
import { hashBytes } from './digest.ts';

export interface FolderHash {
  readonly content: string;
  readonly structure: string;
}

interface Folder {
  readonly files: Map<string, string>;
  readonly folders: Map<string, Folder>;
}

const emptyFolder = (): Folder => ({ files: new Map(), folders: new Map() });

function folderAt(root: Folder, parts: readonly string[]): Folder {
  let at = root;
  for (const part of parts) {
    const next = at.folders.get(part) ?? emptyFolder();
    at.folders.set(part, next);
    at = next;
  }
  return at;
}

/**
 * By path relative to the root, `` for the root itself. `files`: every file that counts and its hash in `algorithm`;
 * `folders`: every folder that counts, so that empty ones are known.
 */
export function folderHashes(
  algorithm: MhlFormat,
  files: readonly { readonly path: string; readonly value: string }[],
  folders: readonly string[],
): Map<string, FolderHash> {
  const root = emptyFolder();
  for (const path of folders) folderAt(root, path.split('/'));
  for (const { path, value } of files) {
    const parts = path.split('/');
    const name = parts.pop() as string;
    folderAt(root, parts).files.set(name, value);
  }
  const hash = (bytes: Buffer): string => hashBytes(bytes, [algorithm])[algorithm] as string;
  const binary = (value: string): Buffer =>
    algorithm === 'c4' ? c4ToDigest(value) : Buffer.from(value, 'hex');
  const ofList = (values: readonly string[]): string => hash(Buffer.concat([...values].sort().map(binary)));
  const named = (name: string, value: string): string =>
    hash(Buffer.concat([nameToBytes(name), binary(value)]));
  const found = new Map<string, FolderHash>();
  const visit = (folder: Folder, path: string): FolderHash => {
    const inner = [...folder.folders].map(([name, next]) => ({
      name,
      hash: visit(next, path === '' ? name : `${path}/${name}`),
    }));
    const own = {
      content: ofList([...folder.files.values(), ...inner.map((item) => item.hash.content)]),
      structure: ofList([
        ...[...folder.files].map(([name, value]) => named(name, value)),
        ...inner.map((item) => named(item.name, item.hash.structure)),
      ]),
    };
    found.set(path, own);
    return own;
  };
  visit(root, '');
  return found;
}
