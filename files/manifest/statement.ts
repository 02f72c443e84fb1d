/** What a manifest states of files, whatever its kind. */
import { type Finding, finding } from '../../findings/finding.ts';
import { printable } from '../names.ts';
import type { Algorithm } from './algorithms.ts';

export const manifestKinds = ['asc-mhl', 'hash-list-1', 'checksum-file'] as const;
export type ManifestKind = (typeof manifestKinds)[number];

export interface StatedHash {
  readonly algorithm: Algorithm;
  /** Canonical text form (see algorithms.ts). */
  readonly value: string;
  /** The manifest wrote the value with its bytes reversed, as its kind asks; some writers forget to. */
  readonly reversed?: boolean;
}

export interface Statement {
  /** Relative to the manifest's base, `/` between parts. */
  readonly path: string;
  /** Null where the kind states no size. */
  readonly bytes: number | null;
  readonly hashes: readonly StatedHash[];
}

/** What a reader made of a manifest's bytes. The statements hold one entry per path. */
export interface Reading {
  readonly statements: readonly Statement[];
  /** Patterns of files that the manifest leaves out (gitignore syntax); empty where the kind has none. */
  readonly ignore: readonly string[];
  readonly findings: readonly Finding[];
}

/**
 * A path as manifests may write it, in one spelling; or why it is refused. It never leaves the folder it is relative to.
 * A backslash or colon is a character like any other here: names on the systems this runs on may hold both.
 */
export function relativePath(text: string): { path: string } | { refused: string } {
  if (text.includes('\0')) return { refused: 'it holds a NUL byte' };
  if (text.startsWith('/')) return { refused: 'it is absolute' };
  const parts = text.split('/').filter((part) => part !== '' && part !== '.');
  if (parts.includes('..')) return { refused: 'it climbs out with ".."' };
  if (parts.length === 0) return { refused: 'it names no file' };
  if (text.endsWith('/')) return { refused: 'it names a folder' };
  return { path: parts.join('/') };
}

/** Gathers statements path by path; two values of one algorithm for one path are a contradiction. */
export class StatementList {
  readonly #byPath = new Map<string, { bytes: number | null; hashes: StatedHash[] }>();
  readonly findings: Finding[] = [];
  readonly #manifest: string;

  /** `manifest`: the name that findings give the manifest. */
  constructor(manifest: string) {
    this.#manifest = manifest;
  }

  add(text: string, bytes: number | null, hashes: readonly StatedHash[], where: string): void {
    const checked = relativePath(text);
    if ('refused' in checked) {
      this.findings.push(
        finding(
          'manifest-path-outside',
          `${where}: ${printable(text)}: ${checked.refused}`,
          'a path below the folder that the manifest describes',
          { file: this.#manifest },
        ),
      );
      return;
    }
    const entry = this.#byPath.get(checked.path);
    if (entry === undefined) {
      this.#byPath.set(checked.path, { bytes, hashes: [...hashes] });
      return;
    }
    if (entry.bytes !== null && bytes !== null && entry.bytes !== bytes)
      this.#contradiction(checked.path, `${entry.bytes} bytes and ${bytes} bytes`);
    entry.bytes ??= bytes;
    for (const hash of hashes) {
      const earlier = entry.hashes.find((other) => other.algorithm === hash.algorithm);
      if (earlier === undefined) entry.hashes.push(hash);
      else if (earlier.value !== hash.value)
        this.#contradiction(checked.path, `${hash.algorithm} ${earlier.value} and ${hash.value}`);
    }
  }

  #contradiction(path: string, found: string): void {
    this.findings.push(
      finding('manifest-contradiction', `${printable(path)}: ${found}`, 'one value for each file', {
        file: this.#manifest,
      }),
    );
  }

  statements(): Statement[] {
    return [...this.#byPath].map(([path, { bytes, hashes }]) => ({ path, bytes, hashes }));
  }
}
