/** Where the manifests of a roll lie, and what all of them together state of its files. */
import { readdir, readFile } from 'node:fs/promises';
import { type Finding, finding } from '../../findings/finding.ts';
import { fsPath, nameFromBytes, printable } from '../names.ts';
import { familyOfFileName, reverseBytes } from './algorithms.ts';
import { c4OfBytes } from './c4.ts';
import { HISTORY_FOLDER } from './chain.ts';
import { readChecksumFile } from './checksum-file.ts';
import { hashBytes } from './digest.ts';
import { isGeneration, readGeneration } from './generation.ts';
import { isHashList1, readHashList1 } from './hash-list-1.ts';
import { foldGenerations } from './fold.ts';
import { readHistory } from './history.ts';
import type { ManifestKind, StatedHash, Statement } from './statement.ts';
import { parseXml, XmlError } from './xml.ts';

export interface ReadManifest {
  /** Full path; of a history its folder. */
  readonly file: string;
  readonly kind: ManifestKind;
  readonly statements: readonly Statement[];
  /** Patterns (gitignore syntax) of what it leaves out. */
  readonly ignore: readonly string[];
  /** Of the bytes that were read, by name: of the file itself, or of every file in a history's folder. */
  readonly digests: readonly { readonly file: string; readonly sha256: string }[];
}

export interface FoundManifests {
  /** What all of them state, by path relative to the roll. */
  readonly statements: ReadonlyMap<string, Statement>;
  readonly manifests: readonly ReadManifest[];
  /** Without the roll; `file` names the manifest. */
  readonly findings: readonly Finding[];
}

export function isManifestName(name: string): boolean {
  return /\.mhl$/i.test(name) || familyOfFileName(name) !== null;
}

/** True for a path (relative to its roll) that is itself a manifest or part of a history, and need not be listed. */
export function isManifestPath(path: string): boolean {
  const parts = path.split('/');
  const name = parts.at(-1) as string;
  if (parts.at(-2) === HISTORY_FOLDER) return /\.(?:mhl|xml)$/i.test(name) || name === 'README.txt';
  return isManifestName(name);
}

/** Values may stand in either byte order where the kind asks for the reversed one and writers forget it. */
export function sameValue(stated: StatedHash, value: string): boolean {
  return stated.value === value || (stated.reversed === true && reverseBytes(stated.value) === value);
}

/** Manifest by manifest; where two say different things, the first one stands and a finding holds the roll. */
export function mergeStatements(manifests: readonly ReadManifest[]): {
  statements: Map<string, Statement>;
  findings: Finding[];
} {
  const statements = new Map<string, Statement>();
  const findings: Finding[] = [];
  for (const manifest of manifests) {
    for (const next of manifest.statements) {
      const known = statements.get(next.path);
      if (known === undefined) {
        statements.set(next.path, next);
        continue;
      }
      const contradiction = (found: string): void => {
        findings.push(
          finding(
            'manifest-contradiction',
            `${printable(next.path)}: ${found}`,
            'what the manifests before it state',
            { file: manifest.file },
          ),
        );
      };
      if (known.bytes !== null && next.bytes !== null && known.bytes !== next.bytes)
        contradiction(`${next.bytes} bytes, not ${known.bytes}`);
      const added: StatedHash[] = [];
      for (const hash of next.hashes) {
        const earlier = known.hashes.find((other) => other.algorithm === hash.algorithm);
        if (earlier === undefined) added.push(hash);
        else if (!sameValue(earlier, hash.value) && !sameValue(hash, earlier.value))
          contradiction(`${hash.algorithm} ${hash.value}, not ${earlier.value}`);
      }
      statements.set(next.path, {
        path: next.path,
        bytes: known.bytes ?? next.bytes,
        hashes: [...known.hashes, ...added],
      });
    }
  }
  return { statements, findings };
}

const nameOf = (path: string): string => path.slice(path.lastIndexOf('/') + 1);

type Place = (statements: readonly Statement[]) => readonly Statement[];

/**
 * Where a list lies does not say for certain what its paths are relative to: its own folder, the roll, or the folder
 * above the roll, since the programs that write lists are run in any of them. The first of these that finds the most
 * files counts; what the list names and is not there is still missed. `present`: the files of the roll.
 */
function bestFit(base: string, roll: string, present: ReadonlySet<string>): Place {
  return (statements) => {
    const moved = (to: (path: string) => string): Statement[] =>
      statements.map((statement) => ({ ...statement, path: to(statement.path) }));
    const readings: (readonly Statement[])[] =
      base === '' ? [statements] : [moved((path) => `${base}/${path}`), statements];
    const start = `${roll}/`;
    if (statements.length > 0 && statements.every(({ path }) => path.startsWith(start)))
      readings.push(moved((path) => path.slice(start.length)));
    const fits = readings.map(
      (reading) => reading.filter(({ path }) => present.has(path) || present.has(path.normalize())).length,
    );
    return readings[fits.indexOf(Math.max(...fits))] as readonly Statement[];
  };
}

class Collector {
  readonly manifests: ReadManifest[] = [];
  readonly findings: Finding[] = [];

  unreadable(file: string, error: unknown): void {
    this.findings.push(
      finding('manifest-unreadable', printable((error as Error).message), 'a manifest that can be read', {
        file,
      }),
    );
  }

  /** Regular files and folders of a folder; null when there is no such folder. Links are not followed. */
  async list(folder: string): Promise<{ files: string[]; folders: string[] } | null> {
    try {
      const entries = await readdir(fsPath(folder), { encoding: 'buffer', withFileTypes: true });
      const names = (wanted: readonly (typeof entries)[number][]): string[] =>
        wanted.map((entry) => nameFromBytes(entry.name)).sort();
      return {
        files: names(entries.filter((entry) => entry.isFile())),
        folders: names(entries.filter((entry) => entry.isDirectory())),
      };
    } catch (error) {
      const { code } = error as NodeJS.ErrnoException;
      if (code !== 'ENOENT' && code !== 'ENOTDIR') this.unreadable(folder, error);
      return null;
    }
  }

  async bytes(file: string): Promise<Buffer | null> {
    try {
      return await readFile(fsPath(file));
    } catch (error) {
      this.unreadable(file, error);
      return null;
    }
  }

  /** `base`: folder of the roll that its paths are relative to, '' for the roll itself; `read`: the bytes that say so, by name. */
  add(
    file: string,
    kind: ManifestKind,
    base: string,
    statements: readonly Statement[],
    ignore: readonly string[],
    read: ReadonlyMap<string, Buffer>,
  ): void {
    const below =
      base === '' ? statements : statements.map((entry) => ({ ...entry, path: `${base}/${entry.path}` }));
    // A pattern of a nested history speaks of its own folder only.
    if (statements.length > 0)
      this.manifests.push({
        file,
        kind,
        statements: below,
        ignore: base === '' ? ignore : [],
        digests: [...read].map(([name, bytes]) => ({
          file: name,
          sha256: hashBytes(bytes, ['sha256']).sha256 as string,
        })),
      });
  }

  async history(folder: string, base: string): Promise<void> {
    const list = await this.list(folder);
    if (list === null) return;
    const files = new Map<string, Buffer>();
    for (const name of list.files) {
      const bytes = await this.bytes(`${folder}/${name}`);
      if (bytes !== null) files.set(name, bytes);
    }
    const history = readHistory(files, folder);
    this.findings.push(...history.findings);
    this.add(folder, 'asc-mhl', base, history.statements, history.ignore, files);
    const root = folder.slice(0, -HISTORY_FOLDER.length - 1);
    for (const { path, c4 } of history.references) {
      const bytes = await this.bytes(`${root}/${path}`);
      if (bytes !== null && c4OfBytes(bytes) !== c4)
        this.findings.push(
          finding(
            'manifest-chain-broken',
            `C4 ID ${c4OfBytes(bytes)}`,
            `C4 ID ${c4}, as the history above recorded it`,
            { file: `${root}/${path}` },
          ),
        );
    }
  }

  /** A list outside any history. `place` says what its paths are relative to. */
  async single(file: string, place: Place): Promise<void> {
    const name = nameOf(file);
    const bytes = await this.bytes(file);
    if (bytes === null) return;
    const read = new Map([[name, bytes]]);
    const family = familyOfFileName(name);
    if (family !== null) {
      const reading = readChecksumFile(bytes, family, file);
      this.findings.push(...reading.findings);
      this.add(file, 'checksum-file', '', place(reading.statements), [], read);
      return;
    }
    try {
      const root = parseXml(bytes);
      if (isGeneration(root)) {
        const generation = readGeneration(root, file);
        const folded = foldGenerations([{ generation, manifest: file }]);
        this.findings.push(...generation.findings, ...folded.findings);
        if (folded.statements.length === 0) this.unreadable(file, new XmlError('it lists no file'));
        this.add(file, 'asc-mhl', '', place(folded.statements), generation.ignore, read);
      } else if (isHashList1(root)) {
        const reading = readHashList1(root, file);
        this.findings.push(...reading.findings);
        this.add(file, 'hash-list-1', '', place(reading.statements), [], read);
      } else
        throw new XmlError(`its root is ${root.name} of "${root.namespace}", not a hash list that is known`);
    } catch (error) {
      if (!(error instanceof XmlError)) throw error;
      this.unreadable(file, error);
    }
  }

  /** Manifests in a folder and below it; `base` is its path in the roll. */
  async within(folder: string, base: string, placeOf: (base: string) => Place): Promise<void> {
    const list = await this.list(folder);
    for (const name of list?.files ?? [])
      if (isManifestName(name)) await this.single(`${folder}/${name}`, placeOf(base));
    for (const name of list?.folders ?? []) {
      if (name === HISTORY_FOLDER) await this.history(`${folder}/${name}`, base);
      else await this.within(`${folder}/${name}`, base === '' ? name : `${base}/${name}`, placeOf);
    }
  }

  /** Lists in a folder that are named after the roll: `A001.md5`, `A001.mhl`, `A001_2026-01-02_030405Z.mhl`. */
  async named(folder: string, roll: string, place: Place): Promise<void> {
    for (const name of (await this.list(folder))?.files ?? []) {
      const stem = name.slice(0, name.lastIndexOf('.'));
      const undated = stem.replace(/^\d{4,}_(?=.)/, '').replace(/_\d{4}-\d{2}-\d{2}_\d{6}Z?$/, '');
      if (isManifestName(name) && (stem === roll || undated === roll))
        await this.single(`${folder}/${name}`, place);
    }
  }
}

/**
 * In the roll: histories (`ascmhl`), hash lists (`*.mhl`) and checksum files (`*.md5`, `MD5SUMS`, ...), in any folder
 * of it. Beside the roll: lists named after it. In each of `manifestFolders`: lists named after it, and in `<roll>/` what a roll may hold.
 */
export async function findManifests(
  rollFolder: string,
  roll: string,
  manifestFolders: readonly string[],
  present: ReadonlySet<string>,
): Promise<FoundManifests> {
  const found = new Collector();
  const placeOf = (base: string): Place => bestFit(base, roll, present);
  await found.within(rollFolder, '', placeOf);
  await found.named(rollFolder.slice(0, rollFolder.lastIndexOf('/')) || '/', nameOf(rollFolder), placeOf(''));
  for (const folder of manifestFolders) {
    const outer = await found.list(folder);
    if (outer === null) found.unreadable(folder, new Error('there is no such folder'));
    await found.named(folder, roll, placeOf(''));
    if (outer?.folders.includes(roll) === true) await found.within(`${folder}/${roll}`, '', placeOf);
  }
  const merged = mergeStatements(found.manifests);
  return {
    statements: merged.statements,
    manifests: found.manifests,
    findings: [...found.findings, ...merged.findings],
  };
}
