/** `rushlight sign`: signs the statements of a finished delivery with the user's key, after a full audit. */
import { blocks } from '../../findings/finding.ts';
import { printable } from '../../files/names.ts';
import { toolsOf } from '../roll/prepare.ts';
import { readPrivateKey } from '../provenance/key-files.ts';
import { signDelivery, type SignResult } from '../sign.ts';
import { printJson, printText } from '../show/output.ts';
import { count, findingsText } from '../show/words.ts';
import { listenForInterrupts } from './interrupts.ts';

export interface SignOptions {
  readonly delivery: string;
  /** File of the private key. */
  readonly key: string;
  readonly ffmpeg?: string;
  readonly ffprobe?: string;
  readonly json?: boolean;
  readonly quiet?: boolean;
}

/** 0: every roll there was signed, and there is at least one. */
export async function signCommand(options: SignOptions): Promise<0 | 1 | 130> {
  const key = await readPrivateKey(options.key);
  const tools = await toolsOf(options);
  const interrupts = listenForInterrupts();
  try {
    const result = await signDelivery(
      {
        delivery: options.delivery,
        tools,
        signal: interrupts.first,
        onDeliverable: ({ day, roll, clip, profile }) => {
          if (options.quiet !== true)
            process.stderr.write(`measuring ${[day, roll, clip, profile].map(printable).join('/')}\n`);
        },
      },
      key,
    );
    const whole =
      result.rolls.length > 0 &&
      result.rolls.every(({ signed }) => signed !== null) &&
      !result.findings.some(blocks);
    if (options.json === true)
      printJson({
        version: 0,
        kind: 'sign',
        delivery: options.delivery,
        verdict: whole ? 'signed' : 'held',
        ...result,
      });
    else printText(signText(result));
    return whole ? 0 : 1;
  } catch (error) {
    if (interrupts.first.aborted) return 130;
    throw error;
  } finally {
    interrupts.end();
  }
}

function signText({ keyid, rolls, findings }: SignResult): string {
  const parts = rolls.map((roll) => {
    const name = `${printable(roll.day)}/${printable(roll.roll)}`;
    const head =
      roll.signed === null ? `NOT SIGNED  ${name}` : `signed      ${name}  ${printable(roll.signed)}`;
    return roll.findings.length === 0 ? head : `${head}\n${findingsText(roll.findings, '            ')}`;
  });
  if (findings.length > 0) parts.push(findingsText(findings));
  parts.push(
    `${rolls.filter(({ signed }) => signed !== null).length} of ${count(rolls.length, 'roll')} signed by key ${keyid}. A later run that changes a statement removes its signature.`,
  );
  return parts.join('\n\n');
}
