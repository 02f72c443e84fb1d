/** What a manifest states of files, whatever its kind. */
import { type Finding, finding } from '../../findings/finding.ts';
import { FindingTally } from '../../findings/tally.ts';
import { printable } from '../names.ts';
import { type Algorithm, sameValue } from './algorithms.ts';
import { ownText } from './text.ts';

export const manifestKinds = ['asc-mhl', 'hash-list-1', 'checksum-file'] as const;
export type ManifestKind = (typeof manifestKinds)[number];

export interface StatedHash {
  readonly algorithm: Algorithm;
  /** Canonical text form (see algorithms.ts). */
  readonly value: string;
}

export interface Statement {
  /** Relative to the manifest's base, `/` between parts. */
  readonly path: string;
  /** Null where the kind states no size. */
  readonly bytes: number | null;
  readonly hashes: readonly StatedHash[];
}

/** A finding about a manifest. `path`: the one listed file that it speaks of; absent where it speaks of the manifest. */
export interface ManifestFinding extends Finding {
  readonly path?: string;
}

/** What a reader made of a manifest's bytes. The statements hold one entry per path. */
export interface Reading {
  readonly statements: readonly Statement[];
  /** Patterns of files that the manifest leaves out (gitignore syntax); empty where the kind has none. */
  readonly ignore: readonly string[];
  readonly findings: readonly ManifestFinding[];
}

/** Entries of one manifest: ten long days of raw frames. What is beyond is refused, so that memory stays bounded. */
export const MAX_ENTRIES = 1_000_000;

/** The message says it for a finding. */
export class TooManyEntries extends Error {
  constructor() {
    super(`more than ${MAX_ENTRIES} entries`);
    this.name = 'TooManyEntries';
  }
}

export interface RefusedPath {
  readonly refused: string;
  /** It begins at the root of a file system: nothing says where that is on another machine. */
  readonly absolute?: true;
}

/** `where`: which entry, in words. */
export function pathFinding(
  refusal: RefusedPath,
  text: string,
  where: string,
  manifest: string,
): ManifestFinding {
  return finding(
    refusal.absolute === true ? 'manifest-path-absolute' : 'manifest-path-outside',
    `${where}: ${printable(text)}: ${refusal.refused}`,
    'a path below the folder that the manifest describes',
    { file: manifest },
  );
}

/**
 * A path as manifests may write it, in one spelling; or why it is refused. It never leaves the folder it is relative to.
 * A backslash or colon is a character like any other here: names on the systems this runs on may hold both.
 */
export function relativePath(text: string): { path: string } | RefusedPath {
  if (text.includes('\0')) return { refused: 'it holds a NUL byte' };
  if (text.startsWith('/')) return { refused: 'it is absolute', absolute: true };
  const parts = text.split('/').filter((part) => part !== '' && part !== '.');
  if (parts.includes('..')) return { refused: 'it climbs out with ".."' };
  if (parts.length === 0) return { refused: 'it names no file' };
  if (text.endsWith('/')) return { refused: 'it names a folder' };
  return { path: parts.join('/') };
}

/** Gathers statements path by path; two values of one algorithm for one path are a contradiction. */
export class StatementList {
  readonly #byPath = new Map<string, { path: string; bytes: number | null; hashes: StatedHash[] }>();
  readonly #outside = new FindingTally();
  readonly #contradictions: ManifestFinding[] = [];
  readonly #manifest: string;

  /** `manifest`: the name that findings give the manifest. */
  constructor(manifest: string) {
    this.#manifest = manifest;
  }

  get findings(): readonly ManifestFinding[] {
    return [...this.#outside.findings(), ...this.#contradictions];
  }

  /** Throws TooManyEntries. */
  add(text: string, bytes: number | null, hashes: readonly StatedHash[], where: string): void {
    const checked = relativePath(text);
    if ('refused' in checked) {
      this.#outside.add(pathFinding(checked, text, where, this.#manifest));
      return;
    }
    const path = ownText(checked.path);
    const entry = this.#byPath.get(path);
    if (entry === undefined) {
      if (this.#byPath.size === MAX_ENTRIES) throw new TooManyEntries();
      const own = hashes.map(({ algorithm, value }) => ({ algorithm, value: ownText(value) }));
      this.#byPath.set(path, { path, bytes, hashes: own });
      return;
    }
    if (entry.bytes !== null && bytes !== null && entry.bytes !== bytes)
      this.#contradiction(path, `${entry.bytes} bytes and ${bytes} bytes`);
    entry.bytes ??= bytes;
    for (const hash of hashes) {
      const earlier = entry.hashes.find((other) => other.algorithm === hash.algorithm);
      if (earlier === undefined) entry.hashes.push(hash);
      else if (!sameValue(earlier, hash.value))
        this.#contradiction(path, `${hash.algorithm} ${earlier.value} and ${hash.value}`);
    }
  }

  #contradiction(path: string, found: string): void {
    this.#contradictions.push({
      ...finding('manifest-contradiction', `${printable(path)}: ${found}`, 'one value for each file', {
        file: this.#manifest,
      }),
      path,
    });
  }

  statements(): Statement[] {
    return [...this.#byPath.values()];
  }
}
