/** `rushlight manifest`: a manifest for a roll that came without one, outside the roll. */
import { printable } from '../../files/names.ts';
import { makeManifest } from '../manifests/make.ts';
import { printJson, printText } from '../show/output.ts';
import { bytesText, count } from '../show/words.ts';
import { listenForInterrupts } from './interrupts.ts';

export async function manifestCommand(options: {
  readonly roll: string;
  readonly to: string;
  readonly json?: boolean;
}): Promise<0 | 130> {
  const interrupts = listenForInterrupts();
  try {
    const made = await makeManifest({ rollFolder: options.roll, to: options.to, signal: interrupts.first });
    if (options.json === true) printJson({ version: 0, kind: 'manifest', ...made });
    else
      printText(
        `wrote  ${printable(made.file)}  ${count(made.files, 'file')}, ${bytesText(made.bytes)}\nLater copies can now be checked against this folder. Whether this folder equals the card was not checked.`,
      );
    return 0;
  } catch (error) {
    if (interrupts.first.aborted) return 130;
    throw error;
  } finally {
    interrupts.end();
  }
}
