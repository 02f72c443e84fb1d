/** Names of a master's frames. */
import type { MasterOutcome } from './outcome.ts';

export const frameNumber = ({ digits }: Pick<MasterOutcome, 'digits'>, number: number): string =>
  String(number).padStart(digits, '0');

/** File name of frame `index`, counted from 0. */
export function frameFileName(
  { stem, first, digits, extension }: Pick<MasterOutcome, 'stem' | 'first' | 'digits' | 'extension'>,
  index: number,
): string {
  return `${stem}.${frameNumber({ digits }, first + index)}.${extension}`;
}
