/**
 * Unicode gives some names two spellings that look the same (composed and decomposed, NFC and NFD), and some file
 * systems change one into the other when files are copied. Nothing is guessed: both sides must leave one choice.
 */
import { type Finding, finding } from '../../findings/finding.ts';
import { printable } from '../names.ts';
import type { Statement } from './statement.ts';

/** By the wanted spelling, the one that is there. Names that are there as wanted, or of which more than one may be meant, are not in it. */
export function pairBySpelling(wanted: Iterable<string>, present: ReadonlySet<string>): Map<string, string> {
  const missing = new Map<string, string[]>();
  const taken = new Set<string>();
  for (const name of wanted) {
    if (present.has(name)) taken.add(name);
    else missing.set(name.normalize(), [...(missing.get(name.normalize()) ?? []), name]);
  }
  const pairs = new Map<string, string>();
  if (missing.size === 0) return pairs;
  const free = new Map<string, string[]>();
  for (const name of present)
    if (!taken.has(name)) free.set(name.normalize(), [...(free.get(name.normalize()) ?? []), name]);
  for (const [key, names] of missing) {
    const there = free.get(key) ?? [];
    if (names.length === 1 && there.length === 1) pairs.set(names[0] as string, there[0] as string);
  }
  return pairs;
}

/** The statements under the names that the files have; each name that was changed for it is reported. */
export function respell(
  statements: readonly Statement[],
  present: ReadonlySet<string>,
): { statements: readonly Statement[]; findings: Finding[] } {
  const pairs = pairBySpelling(
    statements.map(({ path }) => path),
    present,
  );
  if (pairs.size === 0) return { statements, findings: [] };
  const codePoints = (text: string): string =>
    [...text]
      .map((character) =>
        character.charCodeAt(0) < 0x80 ? character : `\\u{${character.codePointAt(0)?.toString(16)}}`,
      )
      .join('');
  return {
    statements: statements.map((statement) => ({
      ...statement,
      path: pairs.get(statement.path) ?? statement.path,
    })),
    findings: [...pairs].map(([wanted, there]) =>
      finding(
        'file-name-spelling',
        printable(codePoints(there)),
        `${printable(codePoints(wanted))}, as the manifest spells it`,
        { file: there },
      ),
    ),
  };
}
