/** `rushlight seal`: a manifest for a roll that came without one, outside the roll. */
import { printable } from '../../files/names.ts';
import { sealRoll } from '../seal.ts';
import { printJson, printText } from '../show/output.ts';
import { bytesText, count } from '../show/words.ts';
import { listenForInterrupts } from './interrupts.ts';

export async function sealCommand(options: {
  readonly roll: string;
  readonly to: string;
  readonly json?: boolean;
}): Promise<0 | 130> {
  const interrupts = listenForInterrupts();
  try {
    const seal = await sealRoll({ rollFolder: options.roll, to: options.to, signal: interrupts.first });
    if (options.json === true) printJson({ version: 1, kind: 'seal', ...seal });
    else
      printText(
        `sealed  ${printable(seal.file)}  ${count(seal.files, 'file')}, ${bytesText(seal.bytes)}\nIt proves that later copies equal what was read now, not that this equals the card.`,
      );
    return 0;
  } catch (error) {
    if (interrupts.first.aborted) return 130;
    throw error;
  } finally {
    interrupts.end();
  }
}
