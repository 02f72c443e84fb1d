/** One manifest from disk: a list, or a history's folder. What is wrong with it is in its findings; nothing is thrown for it. */
import { readdir, readFile, stat } from 'node:fs/promises';
import { type Finding, finding } from '../../findings/finding.ts';
import { fsPath, nameFromBytes, printable } from '../names.ts';
import { familyOfFileName } from './algorithms.ts';
import { c4OfBytes } from './c4.ts';
import { HISTORY_FOLDER } from './chain.ts';
import { readChecksumFile } from './checksum-file.ts';
import { hashBytes } from './digest.ts';
import { foldGenerations } from './fold.ts';
import { readHistory } from './history.ts';
import {
  MAX_ENTRIES,
  type ManifestFinding,
  type ManifestKind,
  type Statement,
  TooManyEntries,
} from './statement.ts';
import { XmlError } from './xml.ts';
import { readXmlList } from './xml-list.ts';

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

export interface ManifestReading {
  /** null: it states nothing that could be read. */
  readonly manifest: ReadManifest | null;
  /** Manifests of nested histories that it vouches for, relative to the folder it describes. */
  readonly references: readonly string[];
  readonly findings: readonly ManifestFinding[];
}

/** Of one manifest's bytes, in MiB. A list of all that `MAX_ENTRIES` allows fits, in XML too. */
const MAX_MEBIBYTES = 512;

const nameOf = (path: string): string => path.slice(path.lastIndexOf('/') + 1);

export function unreadable(file: string, message: string): ManifestFinding {
  return finding('manifest-unreadable', printable(message), 'a manifest that can be read', { file });
}

export interface ListedFolder {
  readonly files: readonly string[];
  readonly folders: readonly string[];
  readonly links: readonly string[];
}

/** By name, sorted; links are not followed. null: there is no such folder. */
export async function listFolder(folder: string): Promise<ListedFolder | { fault: Finding } | null> {
  try {
    const entries = await readdir(fsPath(folder), { encoding: 'buffer', withFileTypes: true });
    const names = (wanted: readonly (typeof entries)[number][]): string[] =>
      wanted.map((entry) => nameFromBytes(entry.name)).sort();
    return {
      files: names(entries.filter((entry) => entry.isFile())),
      folders: names(entries.filter((entry) => entry.isDirectory())),
      links: names(entries.filter((entry) => entry.isSymbolicLink())),
    };
  } catch (error) {
    const { code, message } = error as NodeJS.ErrnoException;
    return code === 'ENOENT' || code === 'ENOTDIR' ? null : { fault: unreadable(folder, message) };
  }
}

async function bytesOf(file: string): Promise<Buffer | { fault: ManifestFinding }> {
  try {
    const { size } = await stat(fsPath(file));
    if (size > MAX_MEBIBYTES * 2 ** 20)
      return {
        fault: finding('manifest-too-large', `${size} bytes`, `at most ${MAX_MEBIBYTES} MiB`, { file }),
      };
    return await readFile(fsPath(file));
  } catch (error) {
    return { fault: unreadable(file, (error as Error).message) };
  }
}

const digestsOf = (read: ReadonlyMap<string, Buffer>): ReadManifest['digests'] =>
  [...read].map(([file, bytes]) => ({ file, sha256: hashBytes(bytes, ['sha256']).sha256 as string }));

type ListReading = Pick<ReadManifest, 'kind' | 'statements' | 'ignore'> & {
  readonly findings: readonly ManifestFinding[];
};

/** Throws XmlError, and TooManyEntries. */
function listReading(bytes: Buffer, file: string): ListReading {
  const family = familyOfFileName(nameOf(file));
  if (family !== null) return { kind: 'checksum-file', ...readChecksumFile(bytes, family, file) };
  const list = readXmlList(bytes, file);
  if (list.kind === 'hash-list-1') return { kind: list.kind, ...list.reading };
  const { generation } = list;
  const { statements, findings } = foldGenerations([{ generation, manifest: file }]);
  return {
    kind: list.kind,
    statements,
    ignore: generation.ignore,
    findings: [
      ...generation.findings,
      ...findings,
      ...(statements.length === 0 ? [unreadable(file, 'it lists no file')] : []),
    ],
  };
}

/** A list outside any history: a checksum file by its name, else XML. */
export async function readList(file: string): Promise<ManifestReading> {
  const none = { manifest: null, references: [] };
  const bytes = await bytesOf(file);
  if ('fault' in bytes) return { ...none, findings: [bytes.fault] };
  try {
    const { findings, ...list } = listReading(bytes, file);
    const digests = digestsOf(new Map([[nameOf(file), bytes]]));
    return {
      manifest: list.statements.length === 0 ? null : { file, ...list, digests },
      references: [],
      findings,
    };
  } catch (error) {
    if (error instanceof TooManyEntries)
      return {
        ...none,
        findings: [finding('manifest-too-large', error.message, `at most ${MAX_ENTRIES} entries`, { file })],
      };
    if (error instanceof XmlError) return { ...none, findings: [unreadable(file, error.message)] };
    throw error;
  }
}

/**
 * `root`: the folder that the history describes, in which its nested histories lie. The statements are relative to it.
 * null: there is no such folder.
 */
export async function readHistoryFolder(folder: string, root: string): Promise<ManifestReading | null> {
  const list = await listFolder(folder);
  if (list === null) return null;
  if ('fault' in list) return { manifest: null, references: [], findings: [list.fault] };
  const findings: ManifestFinding[] = [];
  const files = new Map<string, Buffer>();
  for (const name of list.files) {
    const bytes = await bytesOf(`${folder}/${name}`);
    if ('fault' in bytes) findings.push(bytes.fault);
    else files.set(name, bytes);
  }
  const history = readHistory(files, folder);
  for (const item of history.findings) findings.push(item);
  for (const { path, c4 } of history.references) {
    const file = `${root}/${path}`;
    const bytes = await bytesOf(file);
    const found = 'fault' in bytes ? null : c4OfBytes(bytes);
    if ('fault' in bytes) findings.push({ ...bytes.fault, path });
    else if (found !== c4)
      findings.push({
        ...finding(
          'manifest-chain-broken',
          `C4 ID ${found}`,
          `C4 ID ${c4}, as the history above recorded it`,
          { file },
        ),
        path,
      });
  }
  const { statements, ignore } = history;
  return {
    manifest:
      statements.length === 0
        ? null
        : { file: folder, kind: 'asc-mhl', statements, ignore, digests: digestsOf(files) },
    references: history.references.map(({ path }) => path),
    findings,
  };
}

/** The folder that a history's folder describes. */
export function describedBy(historyFolder: string): string {
  return historyFolder.slice(0, -HISTORY_FOLDER.length - 1);
}
