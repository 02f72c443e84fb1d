/** An ASC MHL history folded into what it states of the files as they are now. Source: ASC MHL specification v1.0. */
import { type Finding, finding } from '../../findings/finding.ts';
import { printable } from '../names.ts';
import { c4OfBytes } from './c4.ts';
import { CHAIN_FILE, type ChainEntry, readChain } from './chain.ts';
import { type Generation, isGeneration, readGeneration } from './generation.ts';
import { type Statement, StatementList } from './statement.ts';
import { parseXml, XmlError } from './xml.ts';

export interface History {
  readonly statements: readonly Statement[];
  /** Of the last generation. */
  readonly ignore: readonly string[];
  readonly references: Generation['references'];
  readonly findings: readonly Finding[];
}

function moved(path: string, from: string, to: string): string {
  if (path === from) return to;
  return path.startsWith(`${from}/`) ? `${to}${path.slice(from.length)}` : path;
}

/**
 * Oldest first. An entry with the action `failed` tells of bytes that were found instead of the recorded ones: it states
 * nothing, neither its size nor a value of another kind beside it, and what was recorded before stands. A rename carries the statements of the old path to the new one.
 */
export function foldGenerations(generations: readonly Generation[], manifest: string): { statements: Statement[]; findings: Finding[] } {
  let known: Statement[] = [];
  for (const generation of generations) {
    for (const { path, previousPath } of [...generation.folders, ...generation.files]) {
      if (previousPath !== null && previousPath !== path) known = known.map((entry) => ({ ...entry, path: moved(entry.path, previousPath, path) }));
    }
    for (const file of generation.files) {
      if (file.hashes.some(({ action }) => action === 'failed')) continue;
      known.push({ path: file.path, bytes: file.bytes, hashes: file.hashes.map(({ algorithm, value }) => ({ algorithm, value })) });
    }
  }
  const list = new StatementList(manifest);
  for (const { path, bytes, hashes } of known) list.add(path, bytes, hashes, 'the history');
  return { statements: list.statements(), findings: list.findings };
}

/** `files`: what lies in the history's folder, by name; `name`: what findings call that folder. */
export function readHistory(files: ReadonlyMap<string, Buffer>, name: string): History {
  const findings: Finding[] = [];
  const broken = (file: string, found: string, expected: string): void => {
    findings.push(finding('manifest-chain-broken', found, expected, { file: `${name}/${file}` }));
  };
  let chain: ChainEntry[] = [];
  const chainBytes = files.get(CHAIN_FILE);
  if (chainBytes === undefined) broken(CHAIN_FILE, 'no chain file', 'a chain that lists every generation');
  else {
    try {
      chain = readChain(chainBytes);
    } catch (error) {
      if (!(error instanceof XmlError)) throw error;
      broken(CHAIN_FILE, printable(error.message), 'a chain that lists every generation');
    }
  }
  const chained = new Set(chain.map((entry) => entry.file));
  const loose = [...files.keys()].filter((file) => /\.mhl$/i.test(file) && !chained.has(file)).sort();
  if (chainBytes !== undefined) for (const file of loose) broken(file, 'a generation that the chain does not list', 'every generation in the chain');
  chain.forEach((entry, index) => {
    if (entry.sequence !== index + 1) broken(entry.file, `number ${entry.sequence} at place ${index + 1}`, 'generations numbered from 1 in order');
    const bytes = files.get(entry.file);
    if (bytes === undefined) broken(entry.file, 'not there', 'every generation that the chain lists');
    else if (c4OfBytes(bytes) !== entry.c4) broken(entry.file, `C4 ID ${c4OfBytes(bytes)}`, `C4 ID ${entry.c4}, as the chain recorded it`);
  });
  const generations: Generation[] = [];
  for (const file of [...chain.map((entry) => entry.file), ...loose]) {
    const bytes = files.get(file);
    if (bytes === undefined) continue;
    try {
      const root = parseXml(bytes);
      if (!isGeneration(root)) throw new XmlError('it is not an ASC MHL 2.0 manifest');
      const generation = readGeneration(root, `${name}/${file}`);
      findings.push(...generation.findings);
      generations.push(generation);
    } catch (error) {
      if (!(error instanceof XmlError)) throw error;
      findings.push(finding('manifest-unreadable', printable(error.message), 'an ASC MHL 2.0 manifest', { file: `${name}/${file}` }));
    }
  }
  const folded = foldGenerations(generations, name);
  return { statements: folded.statements, ignore: generations.at(-1)?.ignore ?? [], references: generations.flatMap((generation) => generation.references), findings: [...findings, ...folded.findings] };
}
