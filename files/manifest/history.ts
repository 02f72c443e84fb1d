/**
 * An ASC MHL history: its chain and its generations. A generation whose bytes are not those that the chain recorded
 * counts for nothing. Pure on bytes. Source: ASC MHL specification v1.0.
 */
import { type Finding, finding } from '../../findings/finding.ts';
import { printable } from '../names.ts';
import { c4OfBytes } from './c4.ts';
import { CHAIN_FILE, type ChainEntry, readChain } from './chain.ts';
import { foldGenerations, type NamedGeneration } from './fold.ts';
import { type Generation, isGeneration, readGeneration } from './generation.ts';
import type { Statement } from './statement.ts';
import { parseXml, XmlError } from './xml.ts';

export interface History {
  readonly statements: readonly Statement[];
  /** Of the last generation. */
  readonly ignore: readonly string[];
  readonly references: Generation['references'];
  /** What the chain names, oldest first; empty without a readable chain. */
  readonly chain: readonly ChainEntry[];
  readonly findings: readonly Finding[];
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
  const findings: Finding[] = [];
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
  const read = new Map<string, Generation>();
  for (const file of all) {
    const manifest = `${name}/${file}`;
    try {
      const root = parseXml(files.get(file) ?? Buffer.alloc(0));
      if (!isGeneration(root)) throw new XmlError('it is not an ASC MHL 2.0 manifest');
      read.set(file, readGeneration(root, manifest));
    } catch (error) {
      if (!(error instanceof XmlError)) throw error;
      if (files.has(file))
        findings.push(
          finding('manifest-unreadable', printable(error.message), 'an ASC MHL 2.0 manifest', {
            file: manifest,
          }),
        );
    }
  }
  const generations: NamedGeneration[] = counting.flatMap((file) => {
    const generation = read.get(file);
    return generation === undefined ? [] : [{ generation, manifest: `${name}/${file}` }];
  });
  const folded = foldGenerations(generations);
  return {
    statements: folded.statements,
    // Patterns are handed on from generation to generation: the newest has them all.
    ignore: generations.at(-1)?.generation.ignore ?? [],
    references: generations.flatMap(({ generation }) => generation.references),
    chain: chain ?? [],
    findings: [
      ...findings,
      ...generations.flatMap(({ generation }) => generation.findings),
      ...folded.findings,
    ],
  };
}
