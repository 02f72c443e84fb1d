/** A colour file that is not understood whole, with the words for it. */
import { FindingError, finding } from '../../findings/finding.ts';

/** `found` and `expected` are said of the file; whoever reads it knows its name (file.ts). */
export class ColourFileError extends Error {
  readonly found: string;
  readonly expected: string;
  constructor(found: string, expected: string) {
    super(`${found}; expected ${expected}`);
    this.found = found;
    this.expected = expected;
  }
}

export const refusedFile = (file: string, { found, expected }: ColourFileError): FindingError =>
  new FindingError([finding('colour-file-refused', found, expected, { file })], 2);

/** A decimal number as both formats write it; null for anything else, also for what double precision cannot hold. */
export function numberOf(text: string): number | null {
  if (!/^[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?$/.test(text)) return null;
  const value = Number(text);
  return Number.isFinite(value) ? value : null;
}

/** For showing a word of a file in a sentence. */
export const quoted = (text: string): string => `“${text.length > 40 ? `${text.slice(0, 40)}…` : text}”`;
