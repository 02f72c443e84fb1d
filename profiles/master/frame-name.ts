/** Names of a master's frames. */
import type { MasterOutcome } from './outcome.ts';

/** File name of frame `index`, counted from 0. */
export function frameFileName(
  { stem, first, digits, extension }: Pick<MasterOutcome, 'stem' | 'first' | 'digits' | 'extension'>,
  index: number,
): string {
  return `${stem}.${String(first + index).padStart(digits, '0')}.${extension}`;
}
