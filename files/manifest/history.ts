/**
 * An ASC MHL history: its chain and its generations. A generation whose bytes are not those that the chain recorded
 * counts for nothing. Pure on bytes. Source: ASC MHL specification v1.0.
 */
import { finding } from '../../findings/finding.ts';
import { printable } from '../names.ts';
import { c4OfBytes } from './c4.ts';
import { CHAIN_FILE, type ChainEntry, readChain } from './chain.ts';
import { foldGenerations, type NamedGeneration } from './fold.ts';
import type { Generation } from './generation.ts';
import { type ManifestFinding, MAX_ENTRIES, type Statement, TooManyEntries } from './statement.ts';
import { XmlError } from './xml.ts';
import { readXmlList } from './xml-list.ts';

export interface History {
  readonly statements: readonly Statement[];
  /** Of the last generation. */
  readonly ignore: readonly string[];
  readonly references: Generation['references'];
  /** What the chain names, oldest first; empty without a readable chain. */
  readonly chain: readonly ChainEntry[];
  readonly findings: readonly ManifestFinding[];
}

type Broken = (file: string, found: string, expected: string) => void;

/** null: there is none that can be read. */
function chainOf(files: ReadonlyMap<string, Buffer>, broken: Broken): ChainEntry[] | null {
  const bytes = files.get(CHAIN_FILE);
  if (bytes === undefined) {
    broken(CHAIN_FILE, 'no chain file', 'a chain that lists every generation');
    return null;
  }
  try {
    const chain = readChain(bytes);
    if (chain.length === 0)
      broken(CHAIN_FILE, 'it lists no generation', 'a chain that lists every generation');
    return chain;
  } catch (error) {
    if (!(error instanceof XmlError)) throw error;
    broken(CHAIN_FILE, printable(error.message), 'a chain that lists every generation');
    return null;
  }
}

/** Names of the generations that the chain vouches for, oldest first. */
function vouched(chain: readonly ChainEntry[], files: ReadonlyMap<string, Buffer>, broken: Broken): string[] {
  const good: string[] = [];
  for (const [index, entry] of chain.entries()) {
    if (entry.sequence !== index + 1)
      broken(
        entry.file,
        `number ${entry.sequence} at place ${index + 1}`,
        'generations numbered from 1 in order',
      );
    const bytes = files.get(entry.file);
    const c4 = bytes === undefined ? null : c4OfBytes(bytes);
    if (c4 === null) broken(entry.file, 'not there', 'every generation that the chain lists');
    else if (c4 !== entry.c4)
      broken(entry.file, `C4 ID ${c4}`, `C4 ID ${entry.c4}, as the chain recorded it`);
    else good.push(entry.file);
  }
  return good;
}

/** `files`: what lies in the history's folder, by name; `name`: what findings call that folder. */
export function readHistory(files: ReadonlyMap<string, Buffer>, name: string): History {
  const findings: ManifestFinding[] = [];
  const broken: Broken = (file, found, expected) => {
    findings.push(finding('manifest-chain-broken', found, expected, { file: `${name}/${file}` }));
  };
  const chain = chainOf(files, broken);
  const chained = new Set(chain?.map((entry) => entry.file));
  const all = [...files.keys()].filter((file) => /\.mhl$/i.test(file) || chained.has(file)).sort();
  if (chain !== null)
    for (const file of all)
      if (!chained.has(file))
        broken(file, 'a generation that the chain does not list', 'every generation in the chain');
  // Without any chain the roll is held, and what the generations say still helps whoever looks for the reason.
  const counting = chain === null ? all : vouched(chain, files, broken);
  const read = (file: string): Generation | null => {
    const bytes = files.get(file);
    if (bytes === undefined) return null;
    const about = { file: `${name}/${file}` };
    try {
      const list = readXmlList(bytes, about.file);
      if (list.kind === 'asc-mhl') return list.generation;
      findings.push(finding('manifest-unreadable', list.kind, 'an ASC MHL 2.0 manifest', about));
    } catch (error) {
      if (error instanceof TooManyEntries)
        findings.push(finding('manifest-too-large', error.message, `at most ${MAX_ENTRIES} entries`, about));
      else if (error instanceof XmlError)
        findings.push(
          finding('manifest-unreadable', printable(error.message), 'an ASC MHL 2.0 manifest', about),
        );
      else throw error;
    }
    return null;
  };
  let ignore: readonly string[] = [];
  const references: Generation['references'][number][] = [];
  /** One at a time: long ones do not fit into memory side by side. */
  function* generations(): Generator<NamedGeneration> {
    for (const file of counting) {
      const generation = read(file);
      if (generation === null) continue;
      // Patterns are handed on from generation to generation: the newest has them all.
      ignore = generation.ignore;
      for (const reference of generation.references) references.push(reference);
      for (const item of generation.findings) findings.push(item);
      yield { generation, manifest: `${name}/${file}` };
    }
  }
  const folded = foldGenerations(generations());
  // What counts for nothing is read all the same: that it cannot be read says why.
  for (const file of all) if (!counting.includes(file)) read(file);
  return {
    statements: folded.statements,
    ignore,
    references,
    chain: chain ?? [],
    findings: [...findings, ...folded.findings],
  };
}
