/** One message: what is told of a roll, a day or a machine. The payload is that of Standard Webhooks: type, timestamp, data. Pure. */
import { randomUUID } from 'node:crypto';
import { z } from 'zod';
import { blocks, describeFinding, type Finding } from '../../findings/finding.ts';
import { printable } from '../../files/names.ts';
import { messageTypes } from './schema.ts';

export const messageSchema = z.object({
  type: z.enum(messageTypes).describe('What is told'),
  timestamp: z.string().describe('When it came to be, ISO 8601, UTC'),
  data: z.object({
    day: z.string().describe('Name of the shoot day'),
    delivery: z.string().describe('Folder of the delivery, on the machine that tells'),
    show: z.string().nullable().describe('Of a standing coordinator: name of the show. null: a run tells'),
    roll: z.string().nullable().describe('Name of the roll; null: it is about a day or a machine'),
    text: z.string().describe('In one line, for people'),
    findings: z
      .array(
        z.object({
          code: z.string().describe('docs/findings.md'),
          text: z.string().describe('What was found, where, and what to do'),
        }),
      )
      .describe('Of what is held or lost: what blocks, ten at most'),
    more: z.int().nonnegative().describe('Findings beyond these'),
  }),
});
export type Message = z.infer<typeof messageSchema>;

/** As it waits for its receiver: under one id, however often it is sent. */
export interface NamedMessage {
  readonly id: string;
  readonly message: Message;
}

const MOST_FINDINGS = 10;

export interface MessageOf {
  readonly type: Message['type'];
  readonly day: string;
  readonly delivery: string;
  readonly show: string | null;
  readonly roll: string | null;
  readonly text: string;
  readonly findings: readonly Finding[];
}

export function newMessage({ type, day, delivery, show, roll, text, findings }: MessageOf): NamedMessage {
  const said = type === 'machine.lost' ? findings : findings.filter(blocks);
  return {
    id: `msg_${randomUUID().replaceAll('-', '')}`,
    message: {
      type,
      timestamp: new Date().toISOString(),
      data: {
        ...{ day: printable(day), delivery: printable(delivery), show },
        roll: roll === null ? null : printable(roll),
        // In one line, whatever a roll is called.
        text: text.replaceAll(/\s+/g, ' '),
        findings: said.slice(0, MOST_FINDINGS).map((item) => ({ code: item.code, text: sentenceOf(item) })),
        more: Math.max(0, said.length - MOST_FINDINGS),
      },
    },
  };
}

function sentenceOf(item: Finding): string {
  const { title, about, found, expected, remedy } = describeFinding(item);
  const parts = [title, `Found: ${found}`, `Expected: ${expected}`].map(printable);
  return `${parts.join('. ')}. ${about === '' ? '' : `At: ${printable(about)}. `}${remedy}`;
}
