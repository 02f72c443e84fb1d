/** `rushlight handover`: ready rolls of a delivery, with bins and lists, to drives that somebody carries away. */
import { printable } from '../../files/names.ts';
import { deliver } from '../handover/deliver.ts';
import { handoverText } from '../show/handover-text.ts';
import { printJson, printText } from '../show/output.ts';
import { bytesText } from '../show/words.ts';
import { listenForInterrupts } from './interrupts.ts';

export interface HandoverOptions {
  readonly delivery: string;
  readonly to: readonly string[];
  readonly json?: boolean;
  readonly quiet?: boolean;
}

/** How often a line of progress is written where nobody's terminal is. */
const SAY_MILLISECONDS = 5_000;

/** 0: every drive has all that is handed over. */
export async function handoverCommand(options: HandoverOptions): Promise<0 | 1 | 130> {
  const interrupts = listenForInterrupts();
  let said = performance.now();
  try {
    const result = await deliver({
      delivery: options.delivery,
      drives: options.to,
      signal: interrupts.first,
      onProgress: ({ bytes, of, path }) => {
        if (options.quiet === true || performance.now() - said < SAY_MILLISECONDS) return;
        said = performance.now();
        process.stderr.write(`${bytesText(bytes)} of ${bytesText(of)}  ${printable(path)}\n`);
      },
    });
    if (options.json === true)
      printJson({ version: 0, kind: 'handover', delivery: options.delivery, ...result });
    else printText(handoverText(result));
    return result.verdict === 'handed-over' ? 0 : 1;
  } catch (error) {
    if (interrupts.first.aborted) return 130;
    throw error;
  } finally {
    interrupts.end();
  }
}
