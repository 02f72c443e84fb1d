/** `rushlight audit`: a finished delivery measured again, without the queue; reads only. */
import { blocks } from '../../findings/finding.ts';
import { auditDelivery, type AuditResult } from '../audit/index.ts';
import { toolsOf } from '../roll/prepare.ts';
import { readPublicKeys } from '../provenance/key-files.ts';
import { printJson, printText } from '../show/output.ts';
import { statementText } from '../show/statement-text.ts';
import { count, findingsText } from '../show/words.ts';
import { printable } from '../../files/names.ts';
import { listenForInterrupts } from './interrupts.ts';

export interface AuditOptions {
  readonly delivery: string;
  readonly ffmpeg?: string;
  readonly ffprobe?: string;
  readonly json?: boolean;
  readonly quiet?: boolean;
  /** Files of public keys. */
  readonly publicKey?: readonly string[];
}

export async function auditCommand(options: AuditOptions): Promise<0 | 1 | 130> {
  const publicKeys = await readPublicKeys(options.publicKey ?? []);
  const tools = await toolsOf(options);
  const interrupts = listenForInterrupts();
  try {
    const result = await auditDelivery({
      delivery: options.delivery,
      tools,
      publicKeys,
      signal: interrupts.first,
      onDeliverable: ({ day, roll, clip, profile }) => {
        if (options.quiet !== true)
          process.stderr.write(`measuring ${[day, roll, clip, profile].map(printable).join('/')}\n`);
      },
    });
    const ready =
      result.rolls.length > 0 &&
      result.rolls.every((roll) => roll.measured === 'ready') &&
      !result.findings.some(blocks);
    if (options.json === true)
      printJson({
        version: 0,
        kind: 'audit',
        delivery: options.delivery,
        verdict: ready ? 'ready' : 'held',
        ...result,
      });
    else printText(auditText(result));
    return ready ? 0 : 1;
  } catch (error) {
    if (interrupts.first.aborted) return 130;
    throw error;
  } finally {
    interrupts.end();
  }
}

function auditText(result: AuditResult): string {
  const parts = result.rolls.map((roll) => {
    const recorded =
      roll.recorded === roll.measured ? '' : `, recorded ${roll.recorded ?? 'nothing that can be read'}`;
    const head = `${roll.measured === 'ready' ? 'ready' : 'HELD '}  ${printable(roll.day)}/${printable(roll.roll)}  ${count(roll.deliverables, 'deliverable')} measured${recorded}\n       ${statementText(roll)}`;
    return roll.findings.length === 0 ? head : `${head}\n${findingsText(roll.findings, '       ')}`;
  });
  if (result.findings.length > 0) parts.push(findingsText(result.findings));
  const ready = result.rolls.filter((roll) => roll.measured === 'ready').length;
  parts.push(`${ready} of ${count(result.rolls.length, 'roll')} ready.`);
  return parts.join('\n\n');
}
