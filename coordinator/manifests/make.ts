/**
 * Makes a generation of an ASC MHL history for a roll, kept apart from the roll, which is never written to: the first
 * one for a roll that came without manifest, a further one where a history stands already. It proves later copies equal
 * to what was read when the history began, not to the card. Source: ASC MHL specification v1.0, its schema ASCMHL.xsd.
 */
import { append } from '../../findings/append.ts';
import { codeOf } from '../../files/error-code.ts';
import ignore from 'ignore';
import { readdir, readFile, stat } from 'node:fs/promises';
import { availableParallelism, hostname } from 'node:os';
import { posix } from 'node:path';
import { FindingError, type Finding, finding, blocks } from '../../findings/finding.ts';
import { packageVersion } from '../../files/installation.ts';
import { CHAIN_FILE, HISTORY_FOLDER } from '../../files/manifest/chain.ts';
import { folderHashes } from '../../files/manifest/directory-hash.ts';
import { isManifestPath } from '../../files/manifest/find.ts';
import { DEFAULT_IGNORE, type MhlFormat } from '../../files/manifest/generation.ts';
import { createHashPool } from '../../files/manifest/hash-pool.ts';
import { type History, readHistory } from '../../files/manifest/history.ts';
import { respell } from '../../files/manifest/spelling.ts';
import type { Statement } from '../../files/manifest/statement.ts';
import { generationName, type WrittenFile, writeGeneration } from '../../files/manifest/write-generation.ts';
import { fitsXml } from '../../files/manifest/xml.ts';
import { fsPath, printable } from '../../files/names.ts';
import { readCopy, type WalkedCopy, walkCopy } from '../intake/read.ts';
import { recordFile } from './records.ts';
import { writeFirst, writeFurther } from './write.ts';

export interface ManifestOrder {
  readonly rollFolder: string;
  /** Folder of manifests; it must not lie in the roll. */
  readonly to: string;
  /** Of the new records and of the folder hashes; xxh128 unless stated otherwise. */
  readonly algorithm?: MhlFormat;
  /** Files that are read at once; at most four unless stated otherwise. */
  readonly readers?: number;
  readonly onProgress?: (progress: { readonly readBytes: number; readonly totalBytes: number }) => void;
  readonly signal?: AbortSignal;
}

export interface MadeManifest {
  /** Full path of the generation's file. */
  readonly file: string;
  /** Its number, from 1. */
  readonly generation: number;
  readonly files: number;
  readonly bytes: number;
  /** Files that are not what the history says, or not there: the generation records what failed. */
  readonly findings: readonly Finding[];
}

interface ExistingHistory {
  readonly history: History;
  readonly chainBytes: Buffer;
}

/** null: there is none. Throws FindingError when it is not whole: nothing may be built on that. */
async function existingHistory(place: string): Promise<ExistingHistory | null> {
  const folder = `${place}/${HISTORY_FOLDER}`;
  let names: string[];
  try {
    names = await readdir(folder);
  } catch (error) {
    if (codeOf(error) === 'ENOENT') return null;
    throw new FindingError([
      finding(
        'manifest-unreadable',
        printable((error as Error).message),
        'a history folder, or nothing there',
        { file: folder },
      ),
    ]);
  }
  const files = new Map<string, Buffer>();
  for (const name of names.filter((item) => item === CHAIN_FILE || /\.mhl$/i.test(item)))
    files.set(name, await readFile(`${folder}/${name}`));
  const history = readHistory(files, folder);
  // A failure that the history records is no fault of the history.
  const faults = history.findings.filter((item) => blocks(item) && item.code !== 'manifest-failure');
  if (faults.length > 0) throw new FindingError(faults);
  return { history, chainBytes: files.get(CHAIN_FILE) as Buffer };
}

interface Contents {
  readonly files: WrittenFile[];
  readonly folders: ReturnType<typeof folderHashes>;
  readonly findings: Finding[];
}

interface ContentsToRead {
  readonly copy: WalkedCopy;
  readonly roll: string;
  /** Of what is left out. */
  readonly patterns: readonly string[];
  /** What the history says, by path. */
  readonly stated: ReadonlyMap<string, Statement>;
}

/** Reads every file of the roll. Throws FindingError when anything in it cannot be vouched for. */
async function readContents(
  { copy, roll, patterns, stated }: ContentsToRead,
  order: ManifestOrder,
): Promise<Contents> {
  const { algorithm = 'xxh128', readers = Math.min(4, availableParallelism()), onProgress, signal } = order;
  const left = ignore({ ignorecase: false }).add([...patterns]);
  const totalBytes = copy.walk.files.reduce((sum, file) => sum + file.bytes, 0);
  let readBytes = 0;
  const onBytes = (bytes: number): void => {
    readBytes += bytes;
    onProgress?.({ readBytes, totalBytes });
  };
  const pool = createHashPool(readers);
  const read = await readCopy(copy, {
    roll,
    statements: stated,
    also: [algorithm],
    pool,
    onBytes,
    signal,
  }).finally(() => pool.close());
  const files = [...read.files.values()].filter(({ path }) => !left.ignores(path));
  const folders = copy.walk.folders.filter((path) => !left.ignores(`${path}/`));
  const faults = read.findings.filter(blocks);
  for (const path of [...files.map((file) => file.path), ...folders]) {
    if (!fitsXml(path))
      faults.push(
        finding('manifest-name-unwritable', printable(path), 'characters that XML 1.0 can carry', {
          roll,
          file: path,
        }),
      );
  }
  if (files.every(({ path }) => isManifestPath(path)))
    faults.push(finding('roll-empty', '0 files', 'at least one clip', { roll }));
  if (faults.length > 0) throw new FindingError(faults);

  const findings: Finding[] = [];
  const modified = new Map(copy.walk.files.map((file) => [file.path, file.modifiedAt]));
  const written = files.map((file): WrittenFile => {
    const recorded = recordFile(file, stated.get(file.path), algorithm, { roll, file: file.path });
    append(findings, recorded.findings);
    return {
      path: file.path,
      bytes: file.bytes,
      modifiedAt: modified.get(file.path) as Date,
      hashes: recorded.records,
    };
  });
  for (const [path, { bytes }] of stated) {
    if (!read.files.has(path))
      findings.push(
        finding(
          'roll-file-absent',
          'not there',
          bytes === null ? 'the file that the history lists' : `${bytes} bytes`,
          { roll, file: path },
        ),
      );
  }
  const values = files.map(({ path, hashes }) => ({ path, value: hashes[algorithm] as string }));
  return { files: written, folders: folderHashes(algorithm, values, folders), findings };
}

async function isFolder(path: string): Promise<boolean> {
  try {
    return (await stat(fsPath(path))).isDirectory();
  } catch (error) {
    if (['ENOENT', 'ENOTDIR'].includes(codeOf(error))) return false;
    throw error;
  }
}

/** Writes `<to>/<roll>/ascmhl/000n_….mhl` and the chain. Throws FindingError, or the signal's reason after an abort. */
export async function makeManifest(order: ManifestOrder): Promise<MadeManifest> {
  const source = posix.resolve(order.rollFolder);
  const roll = posix.basename(source);
  const place = posix.resolve(order.to, roll);
  if (!fitsXml(roll))
    throw new FindingError([
      finding('manifest-name-unwritable', printable(roll), 'a roll name that XML 1.0 can carry', { roll }),
    ]);
  if (place === source || place.startsWith(`${source}/`))
    throw new FindingError(
      [finding('folders-overlap', printable(place), 'a folder outside the roll', { roll })],
      2,
    );
  if (!(await isFolder(source)))
    throw new FindingError(
      [
        finding('folder-missing', 'no folder there', 'the folder of a roll', {
          roll,
          file: printable(source),
        }),
      ],
      2,
    );
  const existing = await existingHistory(place);
  const walk = await walkCopy(source, roll, order.signal);
  if ('fault' in walk) throw new FindingError([walk.fault]);
  const present = new Set(walk.walked.walk.files.map((file) => file.path));
  const spelled = respell(existing?.history.statements ?? [], present);
  if (existing !== null && !spelled.statements.some(({ path }) => present.has(path))) {
    throw new FindingError([
      finding(
        'manifest-of-another-roll',
        'none of the files that it lists',
        'the files of the history that stands there',
        { roll, file: `${place}/${HISTORY_FOLDER}` },
      ),
    ]);
  }
  const patterns = [...new Set([...DEFAULT_IGNORE, ...(existing?.history.ignore ?? [])])];
  const stated = new Map(spelled.statements.map((statement) => [statement.path, statement]));
  const contents = await readContents({ copy: walk.walked, roll, patterns, stated }, order);
  const at = new Date();
  const sequence = (existing?.history.chain.length ?? 0) + 1;
  const name = generationName(sequence, roll, at);
  const bytes = writeGeneration({
    createdAt: at,
    host: hostname(),
    tool: { name: 'rushlight', version: packageVersion() },
    process: 'in-place',
    ignore: patterns,
    files: contents.files,
    folders: contents.folders,
    folderAlgorithm: order.algorithm ?? 'xxh128',
  });
  const file =
    existing === null
      ? await writeFirst(place, name, bytes)
      : await writeFurther(place, name, bytes, {
          entries: existing.history.chain,
          bytes: existing.chainBytes,
        });
  return {
    file,
    generation: sequence,
    files: contents.files.length,
    bytes: contents.files.reduce((sum, item) => sum + item.bytes, 0),
    findings: [...spelled.findings.map((item) => ({ ...item, roll })), ...contents.findings],
  };
}
