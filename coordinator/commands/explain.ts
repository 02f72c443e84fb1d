/** `rushlight explain <code>`: the page of one finding. */
import { withCommandsAsStarted } from '../../findings/commands.ts';
import { FindingError, finding } from '../../findings/finding.ts';
import type { CodeEntry } from '../../findings/entry.ts';
import { type FindingCode, findingCodes, registry } from '../../findings/registry.ts';
import { printJson } from '../show/output.ts';

export interface ExplainOptions {
  readonly json?: boolean;
}

const meaning: Readonly<Record<CodeEntry['weight'], string>> = {
  hold: 'held: the roll is not ready while this is so',
  note: 'note: reported, and nothing is stopped',
};

/** Codes that a mistyped one may have meant: those that share a part between dashes with it, most parts first. */
function likeCodes(text: string): string[] {
  const parts = new Set(text.toLowerCase().split('-'));
  const shared = (code: string): number => code.split('-').filter((part) => parts.has(part)).length;
  return findingCodes
    .filter((code) => shared(code) > 0)
    .sort((a, b) => shared(b) - shared(a))
    .slice(0, 5);
}

/** Prints the page on stdout. Throws FindingError (exit 2) for a code that the registry does not have. */
export function explainCommand(text: string, options: ExplainOptions): 0 {
  // As it is printed in a finding, in square brackets, or without them.
  const code = text.replace(/^\[(.*)\]$/, '$1');
  if (!Object.hasOwn(registry, code)) {
    const like = likeCodes(code);
    throw new FindingError(
      [finding('code-unknown', code, like.length === 0 ? 'a code from docs/findings.md' : like.join(', '))],
      2,
    );
  }
  const { weight, title, remedy } = registry[code as FindingCode];
  const asked = { code, weight, title, remedy: withCommandsAsStarted(remedy) };
  if (options.json === true) printJson({ version: 0, kind: 'explanation', ...asked });
  else
    process.stdout.write(
      `${asked.title} [${asked.code}]\n  weight    ${meaning[asked.weight]}\n  remedy    ${asked.remedy}\n`,
    );
  return 0;
}
